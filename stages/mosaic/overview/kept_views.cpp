#include "stages/mosaic/overview/kept_views.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <atomic>
#include <cstring>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <vector>

#include "pipeline/base/files/file_digest.h"
#include "pipeline/record/program_verdict.h"
#include "pipeline/record/record_json.h"

namespace lookdown::mosaic {
namespace {

using nlohmann::json;

/// The record without what an earlier or later step says of it, and without a person's drops.
std::string seen_of(const FlightRecord& flight) {
  FlightRecord seen;
  seen.placement = flight.placement;
  seen.surface = flight.surface;
  for (const FrameRecord& frame : flight.frames) {
    FrameRecord& own = seen.frames.emplace_back(frame);
    own.source.path.clear();
    const Decision by_program = decision_but_for_drop_by_person(frame.decision);
    own.decision = {};
    own.decision.verdict = by_program.verdict;
    if (dropped_for_blur_alone(by_program)) own.decision.reasons = {{"fills", {}, {}, {}}};
  }
  return to_json(seen).dump();
}

std::string files_of(const FlightRecord& flight, const std::filesystem::path& out) {
  std::string digests;
  if (flight.surface && !flight.surface->file.empty()) digests += digest_of_file(out / flight.surface->file);
  for (const FrameRecord& frame : flight.frames)
    if (frame.glare && !frame.glare->mask_file.empty())
      digests += digest_of_file(out / frame.glare->mask_file);
  return digests;
}

json bytes_of(const void* first, std::size_t count) {
  const auto* byte = static_cast<const std::uint8_t*>(first);
  return json::binary({byte, byte + count});
}

template <class Value>
std::vector<Value> values_of(const json& kept) {
  const auto& bytes = kept.get_binary();
  std::vector<Value> values(bytes.size() / sizeof(Value));
  if (!values.empty()) std::memcpy(values.data(), bytes.data(), values.size() * sizeof(Value));
  return values;
}

/// As runs of equal values: masks, and heights of roofs.
template <class Value>
json of_runs(const Value* first, std::size_t count) {
  std::vector<std::uint32_t> lengths;
  std::vector<Value> values;
  for (const Value* value = first; value != first + count; ++value) {
    if (values.empty() || values.back() != *value) values.push_back(*value), lengths.push_back(0);
    ++lengths.back();
  }
  return {{"lengths", bytes_of(lengths.data(), lengths.size() * sizeof lengths[0])},
          {"values", bytes_of(values.data(), values.size() * sizeof(Value))}};
}

/// Throws std::runtime_error unless there are `count`.
template <class Value>
std::vector<Value> runs_of(const json& kept, std::size_t count) {
  const auto lengths = values_of<std::uint32_t>(kept.at("lengths"));
  const auto values = values_of<Value>(kept.at("values"));
  std::vector<Value> all;
  all.reserve(count);
  for (std::size_t i = 0; i < std::min(lengths.size(), values.size()); ++i)
    all.insert(all.end(), std::min<std::size_t>(lengths[i], count - all.size()), values[i]);
  if (all.size() != count) throw std::runtime_error("kept runs end early");
  return all;
}

json of_picture(const cv::Mat& picture) {
  const cv::Mat whole = picture.isContinuous() ? picture : picture.clone();
  json kept{{"rows", whole.rows}, {"columns", whole.cols}, {"type", whole.type()}};
  const std::size_t bytes = whole.total() * whole.elemSize();
  if (whole.type() == CV_8UC1)
    kept["runs"] = of_runs(whole.data, bytes);
  else
    kept["bytes"] = bytes_of(whole.data, bytes);
  return kept;
}

cv::Mat picture_of(const json& kept) {
  const int rows = kept.at("rows").get<int>(), columns = kept.at("columns").get<int>(),
            type = kept.at("type").get<int>();
  if (rows == 0 || columns == 0) return {};
  cv::Mat picture(rows, columns, type);
  const std::size_t count = picture.total() * picture.elemSize();
  const std::vector<std::uint8_t> bytes = type == CV_8UC1 ? runs_of<std::uint8_t>(kept.at("runs"), count)
                                                          : values_of<std::uint8_t>(kept.at("bytes"));
  if (bytes.size() != count) throw std::runtime_error("kept picture ends early");
  std::memcpy(picture.data, bytes.data(), count);
  return picture;
}

json of_rectangle(const cv::Rect& box) {
  return {box.x, box.y, box.width, box.height};
}

cv::Rect rectangle_of(const json& kept) {
  return {kept.at(0).get<int>(), kept.at(1).get<int>(), kept.at(2).get<int>(), kept.at(3).get<int>()};
}

json of_colour(const FrameColour& colour) {
  return {{"gain", colour.log_gain},         {"slope", colour.log_slope},
          {"vignetting", colour.vignetting}, {"field", of_picture(colour.log_field)},
          {"width", colour.width_px},        {"height", colour.height_px},
          {"centre_x", colour.centre_x_px},  {"centre_y", colour.centre_y_px},
          {"half", colour.half_diagonal_px}};
}

FrameColour colour_of(const json& kept) {
  FrameColour colour;
  kept.at("gain").get_to(colour.log_gain);
  kept.at("slope").get_to(colour.log_slope);
  kept.at("vignetting").get_to(colour.vignetting);
  colour.log_field = picture_of(kept.at("field"));
  kept.at("width").get_to(colour.width_px);
  kept.at("height").get_to(colour.height_px);
  kept.at("centre_x").get_to(colour.centre_x_px);
  kept.at("centre_y").get_to(colour.centre_y_px);
  kept.at("half").get_to(colour.half_diagonal_px);
  return colour;
}

json of_frame(const SurveyFrame& frame, const FrameView& view, const FrameColour& colour) {
  return {{"box", of_rectangle(frame.box)},     {"bgr", of_picture(frame.bgr)},
          {"usable", of_picture(frame.usable)}, {"dislike", of_picture(frame.dislike)},
          {"glare", of_picture(frame.glare)},   {"riding", of_picture(view.riding)},
          {"hidden", of_picture(view.hidden)},  {"hidden_nodes", of_rectangle(view.hidden_nodes)},
          {"colour", of_colour(colour)}};
}

SurveyFrame survey_frame_of(const json& kept) {
  SurveyFrame frame;
  frame.box = rectangle_of(kept.at("box"));
  frame.bgr = picture_of(kept.at("bgr"));
  frame.usable = picture_of(kept.at("usable"));
  frame.dislike = picture_of(kept.at("dislike"));
  frame.glare = picture_of(kept.at("glare"));
  return frame;
}

json of_heights(const surface::HeightGrid& grid) {
  return {{"columns", grid.columns},
          {"rows", grid.rows},
          {"step", grid.step_px},
          {"lowest", grid.lowest},
          {"highest", grid.highest},
          {"wall", grid.wall},
          {"heights", of_runs(grid.heights.data(), grid.heights.size())}};
}

surface::HeightGrid heights_of(const json& kept) {
  surface::HeightGrid grid;
  kept.at("columns").get_to(grid.columns);
  kept.at("rows").get_to(grid.rows);
  kept.at("step").get_to(grid.step_px);
  kept.at("lowest").get_to(grid.lowest);
  kept.at("highest").get_to(grid.highest);
  kept.at("wall").get_to(grid.wall);
  grid.heights = runs_of<float>(kept.at("heights"), static_cast<std::size_t>(grid.columns) * grid.rows);
  grid.confidence.assign(grid.heights.size(), 1);
  return grid;
}

json of_roofs(const std::vector<RaisedArea>& roofs) {
  json all = json::array();
  for (const RaisedArea& roof : roofs) {
    json outline = json::array();
    for (const cv::Point2d& corner : roof.outline) outline.push_back({corner.x, corner.y});
    all.push_back({{"height", roof.height_px}, {"outline", std::move(outline)}});
  }
  return all;
}

std::vector<RaisedArea> roofs_of(const json& kept) {
  std::vector<RaisedArea> roofs;
  for (const json& one : kept) {
    RaisedArea& roof = roofs.emplace_back();
    one.at("height").get_to(roof.height_px);
    for (const json& corner : one.at("outline"))
      roof.outline.emplace_back(corner.at(0).get<double>(), corner.at(1).get<double>());
  }
  return roofs;
}

void write(const Cache& cache, const std::string& key, const json& kept) {
  const std::vector<std::uint8_t> bytes = json::to_cbor(kept);
  cache.keep(key, {reinterpret_cast<const char*>(bytes.data()), bytes.size()});
}

std::optional<json> read(const Cache& cache, const std::string& key) {
  const auto bytes = cache.find(key);
  if (!bytes) return std::nullopt;
  json kept = json::from_cbor(*bytes, true, false);
  return kept.is_object() ? std::optional(std::move(kept)) : std::nullopt;
}

}  // namespace

KeptViews::KeptViews(const FlightRecord& flight, const Canvas& canvas, std::optional<double> plane_height,
                     const Options& options, const RunContext& context)
    : flight_(flight), canvas_(canvas), plane_height_(plane_height), fill_(options.fill), context_(context) {
  // The memory says how coarse the survey is.
  const json given{options.order,
                   options.fill,
                   options.colour_balance,
                   options.whole_roofs,
                   plane_height ? json(*plane_height) : json(),
                   canvas.width_px,
                   canvas.height_px,
                   canvas.canvas_per_placed,
                   context.scheduler.memory_bytes()};
  key_ = Cache::key(
      std::string("views ") + kMosaicVersion + " " + surface::kSurfaceVersion + " " + kReaderVersion,
      seen_of(flight) + files_of(flight, context.out), given.dump());
}

std::string KeptViews::key_of_frame(std::size_t view) const {
  return Cache::key(key_, std::to_string(view), "");
}

std::optional<PreparedViews> KeptViews::find() const {
  const auto kept = read(context_.cache, key_);
  if (!kept) return std::nullopt;
  PreparedViews ready;
  try {
    ready.some_upright = kept->at("some_upright").get<bool>();
    ready.heights = std::make_shared<const surface::HeightGrid>(
        ready.some_upright ? heights_of(kept->at("heights")) : surface::read(flight_, context_.out));
    ready.leaning = roofs_of(kept->at("leaning"));
    kept->at("notes").get_to(ready.notes);
    kept->at("cell").get_to(ready.survey.cell_px);
    kept->at("columns").get_to(ready.survey.columns);
    kept->at("rows").get_to(ready.survey.rows);
    ready.views = sighted_views(flight_, canvas_, plane_height_, fill_, ready.heights.get());
    ready.survey.frames.resize(ready.views.size());
    ready.colours.resize(ready.views.size());
    std::atomic<bool> complete = kept->at("frames").get<std::size_t>() == ready.views.size();
    tbb::parallel_for(std::size_t{0}, ready.views.size(), [&](std::size_t i) {
      const auto frame = complete ? read(context_.cache, key_of_frame(i)) : std::nullopt;
      if (!frame) return complete.store(false);
      ready.survey.frames[i] = survey_frame_of(*frame);
      ready.survey.frames[i].fills = ready.views[i].fills;
      ready.colours[i] = colour_of(frame->at("colour"));
      ready.views[i].riding = picture_of(frame->at("riding"));
      ready.views[i].hidden = picture_of(frame->at("hidden"));
      ready.views[i].hidden_nodes = rectangle_of(frame->at("hidden_nodes"));
    });
    return complete ? std::optional(std::move(ready)) : std::nullopt;
  } catch (const std::exception&) {
    return std::nullopt;  // made by a program that kept something else
  }
}

void KeptViews::keep(const PreparedViews& ready) const {
  json kept{{"some_upright", ready.some_upright},
            {"leaning", of_roofs(ready.leaning)},
            {"notes", ready.notes},
            {"cell", ready.survey.cell_px},
            {"columns", ready.survey.columns},
            {"rows", ready.survey.rows},
            {"frames", ready.survey.frames.size()}};
  if (ready.some_upright) kept["heights"] = of_heights(*ready.heights);
  tbb::parallel_for(std::size_t{0}, ready.views.size(), [&](std::size_t i) {
    write(context_.cache, key_of_frame(i),
          of_frame(ready.survey.frames[i], ready.views[i], ready.colours[i]));
  });
  write(context_.cache, key_, kept);
}

}  // namespace lookdown::mosaic
