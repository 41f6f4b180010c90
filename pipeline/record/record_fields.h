// The fields of the record's values, each named once: what is written to JSON is what is read from it.
// Private to pipeline/.
//
// `each_field(value, field)` calls field(name, member) for every member. Names are those of the files: part
// of their contract.
#pragma once

#include <concepts>
#include <type_traits>

#include "pipeline/record/flight_record.h"

namespace lookdown {

template <class T, class Value>
concept MaybeConst = std::same_as<std::remove_const_t<T>, Value>;

void each_field(MaybeConst<Camera> auto& c, auto field) {
  field("width_px", c.width_px);
  field("height_px", c.height_px);
  field("fx_px", c.fx_px);
  field("fy_px", c.fy_px);
  field("cx_px", c.cx_px);
  field("cy_px", c.cy_px);
  field("projection", c.projection);
  field("k1", c.k1);
  field("k2", c.k2);
  field("p1", c.p1);
  field("p2", c.p2);
  field("k3", c.k3);
  field("focal_from", c.focal_from);
  field("distortion_from", c.distortion_from);
  field("focal_sigma_share", c.focal_sigma_share);
}

void each_field(MaybeConst<GeoPosition> auto& p, auto field) {
  field("lat_deg", p.lat_deg);
  field("lon_deg", p.lon_deg);
  field("sigma_m", p.sigma_m);
  field("altitude_m", p.altitude_m);
  field("direction_deg", p.direction_deg);
}

void each_field(MaybeConst<FrameInfo> auto& i, auto field) {
  field("make", i.make);
  field("model", i.model);
  field("lens", i.lens);
  field("camera_id", i.camera_id);
  field("camera", i.camera);
  field("taken_at", i.taken_at);
  field("taken_at_s", i.taken_at_s);
  field("utc_offset_h", i.utc_offset_h);
  field("focal_length_mm", i.focal_length_mm);
  field("focal_length_35mm", i.focal_length_35mm);
  field("exposure_s", i.exposure_s);
  field("f_number", i.f_number);
  field("iso", i.iso);
  field("position", i.position);
}

void each_field(MaybeConst<TileBlur> auto& t, auto field) {
  field("column", t.column);
  field("row", t.row);
  field("detail", t.detail);
  field("blur_fwhm_px", t.blur_fwhm_px);
}

void each_field(MaybeConst<Sharpness> auto& s, auto field) {
  field("sharpness", s.sharpness);
  field("sharpness_alone", s.sharpness_alone);
  field("blur_fwhm_px", s.blur_fwhm_px);
  field("blur_sigma_share", s.blur_sigma_share);
  field("smear_px", s.smear_px);
  field("smear_deg", s.smear_deg);
  field("detail", s.detail);
  field("clipped_high_share", s.clipped_high_share);
  field("clipped_low_share", s.clipped_low_share);
  field("clipped_high_channel_share", s.clipped_high_channel_share);
  field("mean_level", s.mean_level);
  field("tile_columns", s.tile_columns);
  field("tile_rows", s.tile_rows);
  field("tiles", s.tiles);
  field("signature", s.signature);
}

void each_field(MaybeConst<Horizon> auto& h, auto field) {
  field("line", h.line);
  field("kind", h.kind);
  field("roll_deg", h.roll_deg);
  field("roll_sigma_deg", h.roll_sigma_deg);
  field("pitch_deg", h.pitch_deg);
  field("pitch_sigma_deg", h.pitch_sigma_deg);
}

void each_field(MaybeConst<Tilt> auto& t, auto field) {
  field("down_in_camera", t.down_in_camera);
  field("off_nadir_deg", t.off_nadir_deg);
  field("sigma_deg", t.sigma_deg);
  field("from", t.from);
}

void each_field(MaybeConst<MirrorPoint> auto& m, auto field) {
  field("toward", m.toward);
  field("sigma_deg", m.sigma_deg);
}

void each_field(MaybeConst<Glare> auto& g, auto field) {
  field("water_share", g.water_share);
  field("glare_share", g.glare_share);
  field("glare_share_of_water", g.glare_share_of_water);
  field("readable_water_share", g.readable_water_share);
  field("kind", g.kind);
  field("mirror_point", g.mirror_point);
  field("mask_file", g.mask_file);
  field("water_mask_file", g.water_mask_file);
}

void each_field(MaybeConst<Sun> auto& s, auto field) {
  field("elevation_deg", s.elevation_deg);
  field("azimuth_deg", s.azimuth_deg);
}

void each_field(MaybeConst<FrameSource> auto& s, auto field) {
  field("file", s.file);
  field("stem", s.stem);
  field("path", s.path);
  field("content_hash", s.content_hash);
  field("size_bytes", s.size_bytes);
  field("width_px", s.width_px);
  field("height_px", s.height_px);
  field("orientation", s.orientation);
  field("format", s.format);
  field("twin_file", s.twin_file);
}

void each_field(MaybeConst<Reason> auto& r, auto field) {
  field("word", r.word);
  field("value", r.value);
  field("limit", r.limit);
  field("unit", r.unit);
  field("asks_for", r.asks_for);
}

void each_field(MaybeConst<Decision> auto& d, auto field) {
  field("view", d.view);
  field("verdict", d.verdict);
  field("reasons", d.reasons);
  field("repeat_of", d.repeat_of);
  field("by_person", d.by_person);
}

void each_field(MaybeConst<Misfit> auto& m, auto field) {
  field("x_px", m.at.x);
  field("y_px", m.at.y);
  field("dx_px", m.dx_px);
  field("dy_px", m.dy_px);
}

void each_field(MaybeConst<FramePlacement> auto& p, auto field) {
  field("placed", p.placed);
  field("group", p.group);
  field("camera", p.camera);
  field("rotation", p.pose.world_from_camera);
  field("centre", p.pose.centre);
  field("mosaic_from_frame", p.mosaic_from_frame.matrix);
  field("rmse_px", p.rmse_px);
  field("off_nadir_sigma_deg", p.off_nadir_sigma_deg);
  field("tie_points", p.tie_points);
  field("misfits", p.misfits);
  field("gain", p.gain);
  field("neighbours", p.neighbours);
  field("why_not", p.why_not);
}

void each_field(MaybeConst<ControlResidual> auto& p, auto field) {
  field("name", p.name);
  field("check", p.check);
  field("x", p.x);
  field("y", p.y);
  field("z", p.z);
  field("dx", p.dx);
  field("dy", p.dy);
  field("dz", p.dz);
  field("marks", p.marks);
}

void each_field(MaybeConst<Accuracy> auto& a, auto field) {
  field("tie_point_rmse_px", a.tie_point_rmse_px);
  field("control_rmse_m", a.control_rmse_m);
  field("check_rmse_x_m", a.check_rmse_x_m);
  field("check_rmse_y_m", a.check_rmse_y_m);
  field("check_rmse_r_m", a.check_rmse_r_m);
  field("check_rmse_z_m", a.check_rmse_z_m);
  field("nssda_95_m", a.nssda_95_m);
  field("check_points", a.check_points);
  field("points", a.points);
  field("sentence", a.sentence);
}

void each_field(MaybeConst<RaisedPlane> auto& p, auto field) {
  field("height", p.height);
  field("sigma", p.sigma);
  field("outlines_px", p.outlines_px);
  field("tie_points", p.tie_points);
}

void each_field(MaybeConst<FlightPlacement> auto& p, auto field) {
  field("crs", p.crs);
  field("gsd_m", p.gsd_m);
  field("scale_from", p.scale_from);
  field("scale_sigma_share", p.scale_sigma_share);
  field("north_from", p.north_from);
  field("mosaic_width_px", p.mosaic_width_px);
  field("mosaic_height_px", p.mosaic_height_px);
  field("geotransform", p.geotransform);
  field("groups", p.groups);
  field("plane_heights", p.plane_heights);
  field("raised_planes", p.raised_planes);
  field("relief_spread", p.relief_spread);
  field("lowest_tie_point", p.lowest_tie_point);
  field("highest_tie_point", p.highest_tie_point);
  field("height_sigma", p.height_sigma);
  field("ground_height", p.ground_height);
  field("accuracy", p.accuracy);
}

void each_field(MaybeConst<SurfaceRecord> auto& s, auto field) {
  field("file", s.file);
  field("step_px", s.step_px);
  field("known_share", s.known_share);
  field("height_sigma", s.height_sigma);
}

void each_field(MaybeConst<MosaicRecord> auto& m, auto field) {
  field("file", m.file);
  field("sources_file", m.sources_file);
  field("preview_file", m.preview_file);
  field("glare_file", m.glare_file);
  field("width_px", m.width_px);
  field("height_px", m.height_px);
  field("covered_share", m.covered_share);
  field("covered_m2", m.covered_m2);
  field("unavoidable_glare_m2", m.unavoidable_glare_m2);
  field("frames_used", m.frames_used);
  field("filled_share", m.filled_share);
  field("filled_by", m.filled_by);
  field("used_frames", m.used_frames);
  field("lean_per_m_height", m.lean_per_m_height);
  field("largest_lean_m", m.largest_lean_m);
}

void each_field(MaybeConst<ClearestView> auto& v, auto field) {
  field("group", v.group);
  field("x", v.x);
  field("y", v.y);
  field("side", v.side);
  field("frame", v.frame);
  field("glare_share", v.glare_share);
  field("worst_glare_share", v.worst_glare_share);
  field("views", v.views);
}

void each_field(MaybeConst<StageTiming> auto& t, auto field) {
  field("stage", t.stage);
  field("seconds", t.seconds);
  field("done", t.done);
  field("from_cache", t.from_cache);
}

void each_field(MaybeConst<FrameRecord> auto& f, auto field) {
  field("source", f.source);
  field("fault", f.fault);
  field("info", f.info);
  field("sharpness", f.sharpness);
  field("horizon_looked_for", f.horizon_looked_for);
  field("horizon", f.horizon);
  field("tilt", f.tilt);
  field("tilt_sources", f.tilt_sources);
  field("glare", f.glare);
  field("sun", f.sun);
  field("decision", f.decision);
  field("placement", f.placement);
}

}  // namespace lookdown
