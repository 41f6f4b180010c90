#include "stages/run/analyse_frames.h"

#include <fmt/core.h>

#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/encode.h"
#include "pipeline/record/frame_memory.h"
#include "pipeline/record/record_json.h"

namespace lookdown {
namespace {

using nlohmann::json;

// Answers about a frame have three parts, each in the cache under what it depends on and no more: a changed
// wind does not measure the blur anew, and what `cull` has measured serves `run`.
struct SharpnessPart {
  Sharpness sharpness;
  double coarse_horizon_log_odds = 0;  // that the reduced picture shows the horizon
};

struct GlarePart {
  std::optional<Glare> glare;                  // empty: the frame cannot tell
  std::string glare_mask_png, water_mask_png;  // empty: nothing to write
};

json binary(const std::string& text) {
  return json::binary({text.begin(), text.end()});
}

std::string binary_text(const json& j) {
  const auto& bytes = j.get_binary();
  return {bytes.begin(), bytes.end()};
}

json packed(const SharpnessPart& part) {
  return {{"sharpness", to_json(part.sharpness)}, {"glance", part.coarse_horizon_log_odds}};
}

json packed(const level::Finding& part) {
  json tilts = json::array();
  for (const Tilt& tilt : part.tilts) tilts.push_back(to_json(tilt));
  return {{"horizon", part.horizon ? to_json(*part.horizon) : json()}, {"tilts", tilts}};
}

json packed(const GlarePart& part) {
  return {{"glare", part.glare ? to_json(*part.glare) : json()},
          {"glare_mask", binary(part.glare_mask_png)},
          {"water_mask", binary(part.water_mask_png)}};
}

void unpack(const json& j, SharpnessPart& part) {
  part = {sharpness_from_json(j.at("sharpness")), j.at("glance").get<double>()};
}

void unpack(const json& j, level::Finding& part) {
  if (!j.at("horizon").is_null()) part.horizon = horizon_from_json(j["horizon"]);
  for (const json& tilt : j.at("tilts")) part.tilts.push_back(tilt_from_json(tilt));
}

void unpack(const json& j, GlarePart& part) {
  if (!j.at("glare").is_null()) part.glare = glare_from_json(j["glare"]);
  part.glare_mask_png = binary_text(j.at("glare_mask"));
  part.water_mask_png = binary_text(j.at("water_mask"));
}

std::optional<Tilt> surest(const std::vector<Tilt>& tilts) {
  const auto best = std::min_element(tilts.begin(), tilts.end(),
                                     [](const Tilt& a, const Tilt& b) { return a.sigma_deg < b.sigma_deg; });
  return best == tilts.end() ? std::nullopt : std::optional(*best);
}

template <class Options>
std::string options_text(Options options, void (*describe)(Options&, OptionVisitor&)) {
  return options_to_json([&](OptionVisitor& visitor) { describe(options, visitor); });
}

// What is asked of each frame, and under which names the answers are kept.
class FrameQuestions {
 public:
  FrameQuestions(const FlightOptions& options, const RunContext& context)
      : options_(options),
        context_(context),
        level_text_(options_text(options.level, level::describe)),
        glare_text_(options_text(options.glare, glare::describe)) {}

  // Everything about one frame; returns true when all of it was in the cache.
  bool answer(FrameRecord& frame, std::optional<double>& glance) const {
    FramePixels pixels(context_.reader, frame.source, RawPixels::quick);
    const std::string content = frame.source.content_hash + to_json(frame.info).dump();
    bool all_kept = true;
    const auto key = [&](const std::string& versions, const std::string& options) {
      return Cache::key(versions + " " + kReaderVersion, content, options);
    };

    SharpnessPart sharpness = kept_or_found<SharpnessPart>(
        key(fmt::format("sharpness {} {}", cull::kMeasureVersion, level::kFindVersion), ""),
        [&] { return measure(pixels, frame); }, all_kept);
    glance = sharpness.coarse_horizon_log_odds;
    frame.sharpness = std::move(sharpness.sharpness);

    frame.horizon_looked_for = options_.look_for_horizon;
    if (options_.look_for_horizon) {
      level::Finding found = kept_or_found<level::Finding>(
          key(std::string("level ") + level::kFindVersion, level_text_),
          [&] { return level::find(pixels, frame.info, options_.level); }, all_kept);
      glance.reset();
      frame.horizon = found.horizon;
      frame.tilt_sources = std::move(found.tilts);
      frame.tilt = surest(frame.tilt_sources);
    }

    const auto sun = glare::sun_of_frame(frame.info, options_.glare);
    if (sun) frame.sun = Sun{sun->elevation_deg, sun->azimuth_deg};
    if (options_.look_for_glare) {
      const std::string known =
          (frame.tilt ? to_json(*frame.tilt).dump() : "") + (frame.horizon ? "horizon" : "");
      const std::string versions = fmt::format("glare {} {}", glare::kFindVersion, cull::kMeasureVersion);
      enter(kept_or_found<GlarePart>(
                key(versions, glare_text_ + known), [&] { return find_glare(pixels, frame, sun); }, all_kept),
            frame);
    }
    return all_kept;
  }

 private:
  template <class Part>
  Part kept_or_found(const std::string& key, const std::function<Part()>& find, bool& all_kept) const {
    Part part;
    if (const auto kept = context_.cache.find(key)) {
      unpack(json::from_cbor(*kept), part);
      return part;
    }
    all_kept = false;
    part = find();
    const std::vector<std::uint8_t> bytes = json::to_cbor(packed(part));
    context_.cache.keep(key, {reinterpret_cast<const char*>(bytes.data()), bytes.size()});
    return part;
  }

  SharpnessPart measure(FramePixels& pixels, const FrameRecord& frame) const {
    cv::Mat overview;
    SharpnessPart part;
    part.sharpness = cull::measure(pixels, &overview);
    const double scale = static_cast<double>(overview.cols) / frame.source.width_px;
    part.coarse_horizon_log_odds =
        level::coarse_horizon_log_odds(overview, frame.info.camera.scaled(scale), frame.source.orientation);
    return part;
  }

  GlarePart find_glare(FramePixels& pixels, const FrameRecord& frame,
                       const std::optional<SunPosition>& sun) const {
    const glare::Circumstances known{frame.sharpness, frame.tilt, frame.horizon.has_value(), sun};
    const std::optional<glare::Found> found = glare::find(pixels, frame.info, known, options_.glare);
    GlarePart part;
    if (!found) return part;
    part.glare = found->glare;
    if (!options_.glare.write_masks) return part;
    if (!found->glare_mask->empty()) part.glare_mask_png = glare::mask_png(*found->glare_mask);
    if (!found->water_mask->empty()) part.water_mask_png = glare::mask_png(*found->water_mask);
    return part;
  }

  void enter(GlarePart part, FrameRecord& frame) const {
    frame.glare = std::move(part.glare);
    if (!frame.glare) return;
    frame.glare->mask_file = write_mask(frame.source.stem + "_glare.png", part.glare_mask_png);
    frame.glare->water_mask_file = write_mask(frame.source.stem + "_water.png", part.water_mask_png);
  }

  // The name below the output folder; none where there is nothing to write.
  std::string write_mask(const std::string& name, const std::string& png) const {
    if (png.empty()) return "";
    write_file(context_.out / "masks" / name, png);
    return "masks/" + name;
  }

  const FlightOptions& options_;
  const RunContext& context_;
  std::string level_text_, glare_text_;
};

// Full-size luminance and reduced colour; for glare two masks and working copies of them.
constexpr std::int64_t kBytesAPixel = 4, kBytesAPixelWithGlare = 20;

}  // namespace

cull::CoarseHorizons analyse_frames(FlightRecord& record, const FlightOptions& options, RunContext& context) {
  const FrameQuestions questions(options, context);
  std::vector<char> was_cached(record.frames.size(), 0);
  cull::CoarseHorizons coarse_horizons(record.frames.size());
  context.progress.start("measure", record.frames.size());
  context.scheduler.for_each_frame(
      record.frames.size(),
      bytes_for_largest_frame(record, options.look_for_glare ? kBytesAPixelWithGlare : kBytesAPixel),
      [&](std::size_t i) {
        FrameRecord& frame = record.frames[i];
        if (!frame.fault) was_cached[i] = questions.answer(frame, coarse_horizons[i]);
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
  return coarse_horizons;
}

}  // namespace lookdown
