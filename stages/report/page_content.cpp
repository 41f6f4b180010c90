#include "stages/report/page_content.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "pipeline/base/files/cache.h"
#include "stages/report/overlay_shapes.h"
#include "stages/report/pictures/displayed_frame.h"
#include "stages/report/words/field_text.h"
#include "stages/report/words/flight_figures.h"
#include "stages/report/words/next_flight.h"
#include "stages/report/words/verdict_in_words.h"

namespace lookdown::report {
namespace {

using nlohmann::json;

constexpr std::size_t kMostNeighbours = 12;

/// Digits beyond what a page can show only make it heavy.
json rounded(double value, double steps_a_unit = 1e4) {
  if (!std::isfinite(value)) return nullptr;
  return std::round(value * steps_a_unit) / steps_a_unit;
}

json rounded(const std::optional<double>& value, double steps_a_unit = 1e4) {
  return value ? rounded(*value, steps_a_unit) : json(nullptr);
}

json content_of(const Outline& outline) {
  json points = json::array();
  for (const DisplayedShare& p : outline) points.push_back({rounded(p.x), rounded(p.y)});
  return points;
}

json content_of(const std::vector<Point2<MosaicPx>>& outline) {
  json points = json::array();
  for (const Point2<MosaicPx>& p : outline) points.push_back({rounded(p.x, 10), rounded(p.y, 10)});
  return points;
}

json content_of(const Decision& decision) {
  json reasons = json::array();
  for (const Reason& reason : decision.reasons) {
    reasons.push_back({{"word", reason.word},
                       {"value", rounded(reason.value)},
                       {"limit", rounded(reason.limit)},
                       {"unit", reason.unit},
                       {"asks_for", word(reason.asks_for)},
                       {"decides", &reason == deciding_reason(decision)}});
  }
  return {{"verdict", word(decision.verdict)},
          {"view", word(decision.view)},
          {"reasons", reasons},
          {"repeat_of", decision.repeat_of},
          {"by_person", decision.by_person}};
}

json content_of_blur(const FrameRecord& frame) {
  if (!frame.sharpness) return nullptr;
  const Sharpness& sharpness = *frame.sharpness;
  const TileShape tiles = tile_shape(frame);
  json blur_of_tiles = json::array();
  for (const auto& blur : tiles.blur_fwhm_px) blur_of_tiles.push_back(rounded(blur, 100));
  json shown_axis = nullptr;
  if (sharpness.smear_deg)
    shown_axis = rounded(DisplayedFrame(frame.source).axis_deg(*sharpness.smear_deg), 10);
  return {{"sharpness", rounded(sharpness.sharpness)},
          {"blur_fwhm_px", rounded(sharpness.blur_fwhm_px, 1000)},
          {"blur_sigma_share", rounded(sharpness.blur_sigma_share)},
          {"smear_px", rounded(sharpness.smear_px, 100)},
          {"smear_shown_deg", shown_axis},
          {"detail", rounded(sharpness.detail)},
          {"clipped_high_share", rounded(sharpness.clipped_high_share)},
          {"clipped_low_share", rounded(sharpness.clipped_low_share)},
          {"mean_level", rounded(sharpness.mean_level)},
          {"tile_columns", tiles.columns},
          {"tile_rows", tiles.rows},
          {"tiles", blur_of_tiles}};
}

json content_of_horizon(const FrameRecord& frame) {
  if (!frame.horizon) return nullptr;
  const Horizon& horizon = *frame.horizon;
  json content = {{"kind", horizon.kind},
                  {"roll_deg", rounded(horizon.roll_deg, 100)},
                  {"roll_sigma_deg", rounded(horizon.roll_sigma_deg, 100)},
                  {"pitch_deg", rounded(horizon.pitch_deg, 100)},
                  {"pitch_sigma_deg", rounded(horizon.pitch_sigma_deg, 100)}};
  if (const auto shape = horizon_shape(frame)) {
    content["line"] = content_of(shape->line);
    content["sky"] = {rounded(shape->sky.x), rounded(shape->sky.y)};
  }
  return content;
}

json content_of_tilt(const FrameRecord& frame) {
  if (!frame.tilt) return nullptr;
  json content = {{"off_nadir_deg", rounded(frame.tilt->off_nadir_deg, 100)},
                  {"sigma_deg", rounded(frame.tilt->sigma_deg, 100)},
                  {"from", frame.tilt->from}};
  if (const auto spot = plumb_point(frame)) content["plumb_point"] = {rounded(spot->x), rounded(spot->y)};
  return content;
}

json content_of_glare(const FrameRecord& frame, const std::filesystem::path& out) {
  if (!frame.glare) return nullptr;
  json outlines = json::array();
  for (const Outline& outline : glare_outlines(frame, out)) outlines.push_back(content_of(outline));
  return {{"water_share", rounded(frame.glare->water_share)},
          {"glare_share", rounded(frame.glare->glare_share)},
          {"glare_share_of_water", rounded(frame.glare->glare_share_of_water)},
          {"readable_water_share", rounded(frame.glare->readable_water_share)},
          {"mask_file", frame.glare->mask_file},
          {"outlines", outlines}};
}

json content_of_sun(const FlightRecord& record, const FrameRecord& frame) {
  if (!frame.sun) return nullptr;
  json content = {{"elevation_deg", rounded(frame.sun->elevation_deg, 10)},
                  {"azimuth_deg", rounded(frame.sun->azimuth_deg, 10)}};
  if (const auto spot = sun_mirror_point(record, frame))
    content["mirror_point"] = {rounded(spot->x), rounded(spot->y)};
  return content;
}

json content_of_shot(const FrameInfo& info) {
  return {{"taken_at", info.taken_at ? json(*info.taken_at) : json(nullptr)},
          {"taken_at_s", rounded(info.taken_at_s, 1000)},
          {"camera", camera_name(info)},
          {"focal_px", rounded(info.camera.fx_px, 10)},
          {"focal_from", info.camera.focal_from},
          {"focal_length_mm", rounded(info.focal_length_mm, 100)},
          {"exposure_s", rounded(info.exposure_s, 1e7)},
          {"f_number", rounded(info.f_number, 100)},
          {"iso", rounded(info.iso, 1)}};
}

/// x, y, dx, dy in mosaic pixels.
json content_of(const std::vector<Misfit>& misfits) {
  json list = json::array();
  for (const Misfit& each : misfits)
    list.push_back({rounded(each.at.x, 10), rounded(each.at.y, 10), rounded(each.dx_px, 1000),
                    rounded(each.dy_px, 1000)});
  return list;
}

json content_of_placement(const FlightRecord& record, std::size_t index,
                          const std::vector<std::vector<Point2<MosaicPx>>>& footprints) {
  const FrameRecord& frame = record.frames[index];
  const FramePlacement& placement = frame.placement;
  if (!placement.placed) return {{"placed", false}, {"why_not", placement.why_not}};
  json neighbours = json::array();
  for (const int other : placement.neighbours) {
    if (neighbours.size() == kMostNeighbours) break;
    if (other < 0 || static_cast<std::size_t>(other) >= footprints.size() || footprints[other].empty())
      continue;
    neighbours.push_back(
        {{"frame", other}, {"outline", content_of(outline_in_frame(frame, footprints[other]))}});
  }
  const auto below = mosaic_position(record, placement.pose.centre.x(), placement.pose.centre.y());
  return {{"placed", true},
          {"group", placement.group},
          {"rmse_px", rounded(placement.rmse_px, 1000)},
          {"tie_points", placement.tie_points},
          {"misfits", content_of(placement.misfits)},
          {"neighbour_count", placement.neighbours.size()},
          {"neighbours", neighbours},
          {"height_m", rounded(height_m(record, frame), 100)},
          {"gsd_m", rounded(gsd_m(record, frame), 1e6)},
          {"footprint", content_of(footprints[index])},
          {"below", below ? json{rounded(below->x, 10), rounded(below->y, 10)} : json(nullptr)}};
}

/// Where the original lies as seen from the page; empty when no relative path leads there.
std::string path_from_page(const FrameSource& source, const std::filesystem::path& out) {
  std::error_code none;
  const auto from = std::filesystem::weakly_canonical(out, none);
  const auto to = std::filesystem::weakly_canonical(source.path, none);
  return from.empty() || to.empty() ? std::string() : to.lexically_relative(from).generic_string();
}

json content_of_frame(const FlightRecord& record, std::size_t index, const std::filesystem::path& out,
                      const std::vector<std::vector<Point2<MosaicPx>>>& footprints) {
  const FrameRecord& frame = record.frames[index];
  const DisplayedFrame displayed(frame.source);
  return {{"file", frame.source.file},
          {"width_px", displayed.width_px()},
          {"height_px", displayed.height_px()},
          {"orientation", frame.source.orientation},
          {"size_bytes", frame.source.size_bytes},
          {"original", path_from_page(frame.source, out)},
          {"used", record.mosaic ? json(is_used(record, index)) : json(nullptr)},
          {"fault", frame.fault ? json(*frame.fault) : json(nullptr)},
          {"decision", content_of(frame.decision)},
          {"shot", content_of_shot(frame.info)},
          {"blur", content_of_blur(frame)},
          {"horizon", content_of_horizon(frame)},
          {"horizon_looked_for", frame.horizon_looked_for},
          {"tilt", content_of_tilt(frame)},
          {"glare", content_of_glare(frame, out)},
          {"sun", content_of_sun(record, frame)},
          {"placement", content_of_placement(record, index, footprints)}};
}

json content_of_points(const FlightRecord& record) {
  json points = json::array();
  for (const ControlResidual& point : record.placement.accuracy.points) {
    const auto given = mosaic_position(record, point.x, point.y);
    const auto found = mosaic_position(record, point.x + point.dx, point.y + point.dy);
    points.push_back(
        {{"name", point.name},
         {"check", point.check},
         {"marks", point.marks},
         {"coordinates", {rounded(point.x), rounded(point.y), rounded(point.z)}},
         {"dx", rounded(point.dx)},
         {"dy", rounded(point.dy)},
         {"given", given ? json{rounded(given->x, 100), rounded(given->y, 100)} : json(nullptr)},
         {"found", found ? json{rounded(found->x, 100), rounded(found->y, 100)} : json(nullptr)}});
  }
  return points;
}

json content_of_accuracy(const FlightRecord& record) {
  const Accuracy& accuracy = record.placement.accuracy;
  return {{"sentence", accuracy_sentence(record)},
          {"tie_point_rmse_px", rounded(accuracy.tie_point_rmse_px, 1000)},
          {"control_rmse_m", rounded(accuracy.control_rmse_m)},
          {"check_rmse_r_m", rounded(accuracy.check_rmse_r_m)},
          {"nssda_95_m", rounded(accuracy.nssda_95_m)},
          {"check_points", accuracy.check_points},
          {"points", content_of_points(record)}};
}

json content_of_verdict(const FlightRecord& record) {
  const FlightVerdict verdict = flight_verdict(record);
  return {{"headline", verdict.headline}, {"known", verdict.known}, {"missing", verdict.missing}};
}

/// Choices kept in the browser must not be mixed up between flights that share a page's address.
std::string flight_key(const FlightRecord& record) {
  std::string hashes;
  for (const FrameRecord& frame : record.frames) hashes += frame.source.file + frame.source.content_hash;
  return digest(hashes);
}

}  // namespace

json flight_content(const FlightRecord& record, const RunContext& context) {
  std::vector<std::vector<Point2<MosaicPx>>> footprints;
  for (const FrameRecord& frame : record.frames) footprints.push_back(footprint(frame));
  json frames = json::array();
  for (std::size_t i = 0; i < record.frames.size(); ++i) {
    frames.push_back(content_of_frame(record, i, context.out, footprints));
  }
  return {{"key", flight_key(record)},
          {"program_version", record.program_version},
          {"command_line", record.command_line},
          {"warnings", record.warnings},
          {"verdict", content_of_verdict(record)},
          {"advice", next_flight_advice(record)},
          {"placed", was_placed(record)},
          {"field_text", field_text(record)},
          {"placement",
           {{"crs", record.placement.crs ? json(*record.placement.crs) : json(nullptr)},
            {"gsd_m", rounded(record.placement.gsd_m, 1e6)},
            {"scale_from", record.placement.scale_from},
            {"north_from", record.placement.north_from},
            {"width_px", record.placement.mosaic_width_px},
            {"height_px", record.placement.mosaic_height_px},
            {"groups", record.placement.groups}}},
          {"accuracy", content_of_accuracy(record)},
          {"frames", frames}};
}

std::string json_for_page(const json& content) {
  std::string text = content.dump(-1, ' ', false, json::error_handler_t::replace);
  std::string safe;
  safe.reserve(text.size());
  for (const char c : text) {
    if (c == '<') {
      safe += "\\u003c";
    } else {
      safe += c;
    }
  }
  return safe;
}

}  // namespace lookdown::report
