#include "stages/run/analyse_frames.h"

#include <fmt/core.h>

#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "pipeline/base/atomic_file.h"
#include "pipeline/record/record_json.h"

namespace lookdown {
namespace {

using nlohmann::json;

// What is known of a frame after it was measured, as kept in the cache.
struct Measured {
  Sharpness sharpness;
  std::optional<double> horizon_glance_log_odds;
  level::Finding level;
  std::optional<Glare> glare;
  std::string glare_mask_png, water_mask_png;
};

std::string to_png(const cv::Mat& mask) {
  std::vector<uchar> bytes;
  cv::imencode(".png", mask, bytes,
               {cv::IMWRITE_PNG_COMPRESSION, 1, cv::IMWRITE_PNG_STRATEGY, cv::IMWRITE_PNG_STRATEGY_RLE});
  return {bytes.begin(), bytes.end()};
}

std::string to_cache(const Measured& m) {
  json j{{"sharpness", to_json(m.sharpness)}, {"tilts", json::array()}};
  if (m.horizon_glance_log_odds) j["horizon_glance"] = *m.horizon_glance_log_odds;
  if (m.level.horizon) j["horizon"] = to_json(*m.level.horizon);
  for (const Tilt& tilt : m.level.tilts) j["tilts"].push_back(to_json(tilt));
  if (m.glare) j["glare"] = to_json(*m.glare);
  j["glare_mask"] = json::binary({m.glare_mask_png.begin(), m.glare_mask_png.end()});
  j["water_mask"] = json::binary({m.water_mask_png.begin(), m.water_mask_png.end()});
  const std::vector<std::uint8_t> packed = json::to_cbor(j);
  return {packed.begin(), packed.end()};
}

std::string binary_text(const json& j) {
  const auto& bytes = j.get_binary();
  return {bytes.begin(), bytes.end()};
}

Measured from_cache(const std::string& packed) {
  const json j = json::from_cbor(packed);
  Measured m;
  m.sharpness = sharpness_from_json(j.at("sharpness"));
  if (j.contains("horizon_glance")) m.horizon_glance_log_odds = j["horizon_glance"].get<double>();
  if (j.contains("horizon")) m.level.horizon = horizon_from_json(j["horizon"]);
  for (const json& tilt : j.at("tilts")) m.level.tilts.push_back(tilt_from_json(tilt));
  if (j.contains("glare")) m.glare = glare_from_json(j["glare"]);
  m.glare_mask_png = binary_text(j.at("glare_mask"));
  m.water_mask_png = binary_text(j.at("water_mask"));
  return m;
}

std::optional<Tilt> surest(const std::vector<Tilt>& tilts) {
  const auto best = std::min_element(tilts.begin(), tilts.end(),
                                     [](const Tilt& a, const Tilt& b) { return a.sigma_deg < b.sigma_deg; });
  return best == tilts.end() ? std::nullopt : std::optional(*best);
}

Measured measure(const FrameRecord& frame, const FlightOptions& options, const FrameReader& reader) {
  FramePixels pixels(reader, frame.source, RawPixels::quick);
  Measured m;
  cv::Mat overview;
  m.sharpness = cull::measure(pixels, frame.info, options.cull, &overview);
  if (options.look_for_horizon)
    m.level = level::find(pixels, frame.info, options.level);
  else
    m.horizon_glance_log_odds = level::glance_log_odds(
        overview, frame.info.camera.scaled(static_cast<double>(overview.cols) / frame.source.width_px),
        frame.source.orientation);
  if (!options.look_for_glare) return m;
  const auto sun = glare::sun_of_frame(frame.info, options.glare);
  glare::Found found = glare::find(pixels, frame.info, surest(m.level.tilts), sun, options.glare);
  m.glare = found.glare;
  if (options.glare.write_masks) {
    m.glare_mask_png = to_png(*found.glare_mask);
    m.water_mask_png = to_png(*found.water_mask);
  }
  return m;
}

void enter(FrameRecord& frame, Measured m, const FlightOptions& options, const std::filesystem::path& out) {
  if (m.glare && options.glare.write_masks) {
    m.glare->mask_file = "masks/" + frame.source.stem + "_glare.png";
    m.glare->water_mask_file = "masks/" + frame.source.stem + "_water.png";
    write_file(out / m.glare->mask_file, m.glare_mask_png);
    write_file(out / m.glare->water_mask_file, m.water_mask_png);
  }
  frame.sharpness = std::move(m.sharpness);
  frame.horizon_looked_for = options.look_for_horizon;
  frame.horizon = m.level.horizon;
  frame.tilt_sources = std::move(m.level.tilts);
  frame.tilt = surest(frame.tilt_sources);
  frame.glare = std::move(m.glare);
  if (const auto sun = glare::sun_of_frame(frame.info, options.glare))
    frame.sun = Sun{sun->elevation_deg, sun->azimuth_deg};
}

// The options that change what `measure` sees; flight-wide limits are not among them, but telling them apart
// by name would be a second list to keep in step.
std::string options_that_matter(const FlightOptions& options) {
  FlightOptions copy = options;
  return options_to_json([&](OptionVisitor& visitor) {
    cull::describe(copy.cull, visitor);
    level::describe(copy.level, visitor);
    glare::describe(copy.glare, visitor);
    visitor.option({"horizon", ""}, copy.look_for_horizon);
    visitor.option({"glare", ""}, copy.look_for_glare);
  });
}

// Full-size luminance and reduced colour; for glare two masks and working copies of them.
std::int64_t peak_bytes(const FlightRecord& record, bool with_glare) {
  std::int64_t most_pixels = 1;
  for (const FrameRecord& frame : record.frames)
    most_pixels = std::max(most_pixels, std::int64_t{frame.source.width_px} * frame.source.height_px);
  return (with_glare ? 20 : 4) * most_pixels;
}

}  // namespace

cull::HorizonGlances analyse_frames(FlightRecord& record, const FlightOptions& options, RunContext& context) {
  const std::string stages = fmt::format("{} {} {} {}", kReaderVersion, cull::kMeasureVersion,
                                         level::kFindVersion, glare::kFindVersion);
  const std::string options_text = options_that_matter(options);
  std::vector<char> was_cached(record.frames.size(), 0);
  cull::HorizonGlances glances(record.frames.size());
  context.progress.start("measure", record.frames.size());
  context.scheduler.for_each_frame(
      record.frames.size(), peak_bytes(record, options.look_for_glare),
      [&](std::size_t i) {
        FrameRecord& frame = record.frames[i];
        if (frame.fault) return;
        const std::string camera = to_json(frame.info).dump();
        const std::string key = Cache::key(stages, frame.source.content_hash + camera, options_text);
        if (const auto kept = context.cache.find(key)) {
          was_cached[i] = 1;
          Measured measured = from_cache(*kept);
          glances[i] = measured.horizon_glance_log_odds;
          return enter(frame, std::move(measured), options, context.out);
        }
        Measured measured = measure(frame, options, context.reader);
        glances[i] = measured.horizon_glance_log_odds;
        context.cache.keep(key, to_cache(measured));
        enter(frame, std::move(measured), options, context.out);
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) {
          record.frames[i].fault = fault->hint.empty() ? fault->detail : fault->detail + "; " + fault->hint;
          record.frames[i].decision.verdict = Verdict::drop;
        }
        context.progress.step(i + 1);
      });
  context.progress.finish();
  StageTiming& timing = record.timings.back();
  timing.done = static_cast<int>(record.frames.size());
  timing.from_cache = static_cast<int>(std::count(was_cached.begin(), was_cached.end(), 1));
  return glances;
}

}  // namespace lookdown
