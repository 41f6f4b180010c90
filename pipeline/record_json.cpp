#include "pipeline/record_json.h"

#include <stdexcept>

#include "pipeline/json_fields.h"

namespace lookdown {
namespace {

using nlohmann::json;

json matrix_json(const Eigen::Matrix3d& m) {
  json numbers = json::array();
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 3; ++column) numbers.push_back(m(row, column));
  return numbers;
}

Eigen::Matrix3d matrix_from_json(const json& numbers) {
  if (!numbers.is_array() || numbers.size() != 9) throw std::runtime_error("a matrix needs 9 numbers");
  Eigen::Matrix3d m;
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 3; ++column) m(row, column) = numbers[static_cast<std::size_t>(3 * row + column)].get<double>();
  return m;
}

json to_json(const FrameSource& s) {
  return {{"file", s.file}, {"stem", s.stem}, {"path", s.path.string()}, {"content_hash", s.content_hash}, {"size_bytes", s.size_bytes},
          {"width_px", s.width_px}, {"height_px", s.height_px}, {"orientation", s.orientation}, {"format", s.format}};
}

FrameSource frame_source_from_json(const json& j) {
  FrameSource s;
  std::string path;
  take(j, "file", s.file);
  take(j, "stem", s.stem);
  take(j, "path", path);
  s.path = path;
  take(j, "content_hash", s.content_hash);
  take(j, "size_bytes", s.size_bytes);
  take(j, "width_px", s.width_px);
  take(j, "height_px", s.height_px);
  take(j, "orientation", s.orientation);
  take(j, "format", s.format);
  return s;
}

json to_json(const Decision& d) {
  json reasons = json::array();
  for (const Reason& r : d.reasons) {
    json reason{{"word", r.word}, {"asks_for", word(r.asks_for)}};
    put(reason, "value", r.value);
    put(reason, "limit", r.limit);
    if (!r.unit.empty()) reason["unit"] = r.unit;
    reasons.push_back(std::move(reason));
  }
  return {{"view", word(d.view)}, {"verdict", word(d.verdict)}, {"reasons", reasons}, {"repeat_of", d.repeat_of}, {"by_person", d.by_person}};
}

Decision decision_from_json(const json& j) {
  Decision d;
  d.view = view_from_word(j.value("view", "other")).value_or(View::other);
  d.verdict = verdict_from_word(j.value("verdict", "check")).value_or(Verdict::check);
  take(j, "repeat_of", d.repeat_of);
  take(j, "by_person", d.by_person);
  for (const json& entry : j.value("reasons", json::array())) {
    Reason r;
    take(entry, "word", r.word);
    take(entry, "value", r.value);
    take(entry, "limit", r.limit);
    take(entry, "unit", r.unit);
    r.asks_for = verdict_from_word(entry.value("asks_for", "keep")).value_or(Verdict::keep);
    d.reasons.push_back(r);
  }
  return d;
}

json to_json(const Accuracy& a) {
  json j{{"tie_point_rmse_px", a.tie_point_rmse_px}, {"check_points", a.check_points}, {"sentence", a.sentence}};
  put(j, "control_rmse_m", a.control_rmse_m);
  put(j, "check_rmse_x_m", a.check_rmse_x_m);
  put(j, "check_rmse_y_m", a.check_rmse_y_m);
  put(j, "check_rmse_r_m", a.check_rmse_r_m);
  put(j, "nssda_95_m", a.nssda_95_m);
  j["points"] = json::array();
  for (const ControlResidual& p : a.points)
    j["points"].push_back({{"name", p.name}, {"check", p.check}, {"x", p.x}, {"y", p.y}, {"z", p.z}, {"dx", p.dx}, {"dy", p.dy}, {"marks", p.marks}});
  return j;
}

Accuracy accuracy_from_json(const json& j) {
  Accuracy a;
  take(j, "tie_point_rmse_px", a.tie_point_rmse_px);
  take(j, "check_points", a.check_points);
  take(j, "sentence", a.sentence);
  take(j, "control_rmse_m", a.control_rmse_m);
  take(j, "check_rmse_x_m", a.check_rmse_x_m);
  take(j, "check_rmse_y_m", a.check_rmse_y_m);
  take(j, "check_rmse_r_m", a.check_rmse_r_m);
  take(j, "nssda_95_m", a.nssda_95_m);
  for (const json& entry : j.value("points", json::array())) {
    ControlResidual p;
    take(entry, "name", p.name);
    take(entry, "check", p.check);
    take(entry, "x", p.x);
    take(entry, "y", p.y);
    take(entry, "z", p.z);
    take(entry, "dx", p.dx);
    take(entry, "dy", p.dy);
    take(entry, "marks", p.marks);
    a.points.push_back(p);
  }
  return a;
}

json to_json(const FlightPlacement& p) {
  json j{{"scale_from", p.scale_from}, {"north_from", p.north_from}, {"mosaic_width_px", p.mosaic_width_px},
         {"mosaic_height_px", p.mosaic_height_px}, {"groups", p.groups}, {"plane_heights", p.plane_heights},
         {"ground_height", p.ground_height}, {"accuracy", to_json(p.accuracy)}};
  put(j, "crs", p.crs);
  put(j, "gsd_m", p.gsd_m);
  put(j, "geotransform", p.geotransform);
  put(j, "scale_sigma_share", p.scale_sigma_share);
  return j;
}

FlightPlacement flight_placement_from_json(const json& j) {
  FlightPlacement p;
  take(j, "crs", p.crs);
  take(j, "gsd_m", p.gsd_m);
  take(j, "geotransform", p.geotransform);
  take(j, "scale_from", p.scale_from);
  take(j, "scale_sigma_share", p.scale_sigma_share);
  take(j, "north_from", p.north_from);
  take(j, "mosaic_width_px", p.mosaic_width_px);
  take(j, "mosaic_height_px", p.mosaic_height_px);
  take(j, "groups", p.groups);
  take(j, "plane_heights", p.plane_heights);
  take(j, "ground_height", p.ground_height);
  p.accuracy = accuracy_from_json(j.value("accuracy", json::object()));
  return p;
}

json to_json(const MosaicRecord& m) {
  json j{{"file", m.file}, {"sources_file", m.sources_file}, {"preview_file", m.preview_file}, {"glare_file", m.glare_file},
         {"width_px", m.width_px}, {"height_px", m.height_px}, {"covered_share", m.covered_share}, {"frames_used", m.frames_used}};
  put(j, "covered_m2", m.covered_m2);
  put(j, "unavoidable_glare_m2", m.unavoidable_glare_m2);
  put(j, "lean_per_m_height", m.lean_per_m_height);
  put(j, "largest_lean_m", m.largest_lean_m);
  return j;
}

MosaicRecord mosaic_from_json(const json& j) {
  MosaicRecord m;
  take(j, "file", m.file);
  take(j, "sources_file", m.sources_file);
  take(j, "preview_file", m.preview_file);
  take(j, "glare_file", m.glare_file);
  take(j, "width_px", m.width_px);
  take(j, "height_px", m.height_px);
  take(j, "covered_share", m.covered_share);
  take(j, "frames_used", m.frames_used);
  take(j, "covered_m2", m.covered_m2);
  take(j, "unavoidable_glare_m2", m.unavoidable_glare_m2);
  take(j, "lean_per_m_height", m.lean_per_m_height);
  take(j, "largest_lean_m", m.largest_lean_m);
  return m;
}

json to_json(const FrameRecord& f) {
  json j{{"source", to_json(f.source)}, {"info", to_json(f.info)}, {"decision", to_json(f.decision)},
         {"placement", to_json(f.placement)}, {"horizon_looked_for", f.horizon_looked_for}};
  put(j, "fault", f.fault);
  if (f.sharpness) j["sharpness"] = to_json(*f.sharpness);
  if (f.horizon) j["horizon"] = to_json(*f.horizon);
  if (f.tilt) j["tilt"] = to_json(*f.tilt);
  if (f.glare) j["glare"] = to_json(*f.glare);
  if (f.sun) j["sun"] = {{"elevation_deg", f.sun->elevation_deg}, {"azimuth_deg", f.sun->azimuth_deg}};
  j["tilt_sources"] = json::array();
  for (const Tilt& tilt : f.tilt_sources) j["tilt_sources"].push_back(to_json(tilt));
  return j;
}

FrameRecord frame_record_from_json(const json& j) {
  FrameRecord f;
  f.source = frame_source_from_json(j.at("source"));
  f.info = frame_info_from_json(j.at("info"));
  f.decision = decision_from_json(j.at("decision"));
  f.placement = frame_placement_from_json(j.at("placement"));
  take(j, "horizon_looked_for", f.horizon_looked_for);
  take(j, "fault", f.fault);
  if (j.contains("sharpness")) f.sharpness = sharpness_from_json(j["sharpness"]);
  if (j.contains("horizon")) f.horizon = horizon_from_json(j["horizon"]);
  if (j.contains("tilt")) f.tilt = tilt_from_json(j["tilt"]);
  if (j.contains("glare")) f.glare = glare_from_json(j["glare"]);
  if (j.contains("sun")) {
    f.sun.emplace();
    take(j["sun"], "elevation_deg", f.sun->elevation_deg);
    take(j["sun"], "azimuth_deg", f.sun->azimuth_deg);
  }
  for (const json& tilt : j.value("tilt_sources", json::array())) f.tilt_sources.push_back(tilt_from_json(tilt));
  return f;
}

}  // namespace

json to_json(const FramePlacement& p) {
  json misfits = json::array();
  for (const Misfit& each : p.misfits) misfits.push_back({each.at.x, each.at.y, each.dx_px, each.dy_px});
  return {{"placed", p.placed}, {"group", p.group}, {"camera", to_json(p.camera)}, {"rotation", matrix_json(p.pose.world_from_camera)},
          {"centre", {p.pose.centre.x(), p.pose.centre.y(), p.pose.centre.z()}},
          {"mosaic_from_frame", matrix_json(p.mosaic_from_frame.matrix)}, {"rmse_px", p.rmse_px},
          {"off_nadir_sigma_deg", p.off_nadir_sigma_deg}, {"tie_points", p.tie_points}, {"misfits", misfits}, {"gain", p.gain},
          {"neighbours", p.neighbours}, {"why_not", p.why_not}};
}

FramePlacement frame_placement_from_json(const json& j) {
  FramePlacement p;
  take(j, "placed", p.placed);
  take(j, "group", p.group);
  p.camera = camera_from_json(j.at("camera"));
  p.pose.world_from_camera = matrix_from_json(j.at("rotation"));
  const auto centre = j.at("centre").get<std::array<double, 3>>();
  p.pose.centre = Eigen::Vector3d(centre[0], centre[1], centre[2]);
  p.mosaic_from_frame.matrix = matrix_from_json(j.at("mosaic_from_frame"));
  take(j, "rmse_px", p.rmse_px);
  take(j, "off_nadir_sigma_deg", p.off_nadir_sigma_deg);
  take(j, "tie_points", p.tie_points);
  for (const auto& each : j.value("misfits", std::vector<std::array<double, 4>>{}))
    p.misfits.push_back({{each[0], each[1]}, each[2], each[3]});
  take(j, "gain", p.gain);
  take(j, "neighbours", p.neighbours);
  take(j, "why_not", p.why_not);
  return p;
}

json to_json(const FlightRecord& record) {
  json j{{"program", "lookdown"}, {"program_version", record.program_version}, {"command_line", record.command_line},
         {"placement", to_json(record.placement)}, {"notes", record.notes}, {"warnings", record.warnings}};
  j["options"] = record.options_json.empty() ? json::object() : json::parse(record.options_json);
  j["frames"] = json::array();
  for (const FrameRecord& frame : record.frames) j["frames"].push_back(to_json(frame));
  if (record.mosaic) j["mosaic"] = to_json(*record.mosaic);
  j["timings"] = json::array();
  for (const StageTiming& t : record.timings)
    j["timings"].push_back({{"stage", t.stage}, {"seconds", t.seconds}, {"done", t.done}, {"from_cache", t.from_cache}});
  return j;
}

FlightRecord flight_record_from_json(const json& j) {
  if (!j.is_object() || j.value("program", "") != "lookdown") throw std::runtime_error("this is no lookdown flight record");
  try {
    FlightRecord record;
    take(j, "program_version", record.program_version);
    take(j, "command_line", record.command_line);
    take(j, "notes", record.notes);
    take(j, "warnings", record.warnings);
    record.options_json = j.value("options", json::object()).dump();
    record.placement = flight_placement_from_json(j.at("placement"));
    for (const json& frame : j.at("frames")) record.frames.push_back(frame_record_from_json(frame));
    if (j.contains("mosaic")) record.mosaic = mosaic_from_json(j["mosaic"]);
    for (const json& t : j.value("timings", json::array()))
      record.timings.push_back({t.value("stage", ""), t.value("seconds", 0.0), t.value("done", 0), t.value("from_cache", 0)});
    return record;
  } catch (const json::exception& error) {
    throw std::runtime_error(std::string("the flight record is damaged: ") + error.what());
  }
}

}  // namespace lookdown
