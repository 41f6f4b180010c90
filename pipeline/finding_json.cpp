// JSON of what inspect, cull, level and glare find in one frame; these pieces are also what the cache keeps.
#include "pipeline/json_fields.h"
#include "pipeline/record_json.h"

namespace lookdown {

using nlohmann::json;

json to_json(const Camera& c) {
  return {{"width_px", c.width_px}, {"height_px", c.height_px}, {"fx_px", c.fx_px}, {"fy_px", c.fy_px}, {"cx_px", c.cx_px},
          {"cy_px", c.cy_px}, {"k1", c.k1}, {"k2", c.k2}, {"p1", c.p1}, {"p2", c.p2}, {"k3", c.k3},
          {"focal_from", c.focal_from}, {"distortion_from", c.distortion_from}, {"focal_sigma_share", c.focal_sigma_share}};
}

Camera camera_from_json(const json& j) {
  Camera c;
  take(j, "width_px", c.width_px);
  take(j, "height_px", c.height_px);
  take(j, "fx_px", c.fx_px);
  take(j, "fy_px", c.fy_px);
  take(j, "cx_px", c.cx_px);
  take(j, "cy_px", c.cy_px);
  take(j, "k1", c.k1);
  take(j, "k2", c.k2);
  take(j, "p1", c.p1);
  take(j, "p2", c.p2);
  take(j, "k3", c.k3);
  take(j, "focal_from", c.focal_from);
  take(j, "distortion_from", c.distortion_from);
  take(j, "focal_sigma_share", c.focal_sigma_share);
  return c;
}

json to_json(const FrameInfo& i) {
  json j{{"make", i.make}, {"model", i.model}, {"lens", i.lens}, {"camera_id", i.camera_id}, {"camera", to_json(i.camera)}};
  put(j, "taken_at", i.taken_at);
  put(j, "taken_at_s", i.taken_at_s);
  put(j, "utc_offset_h", i.utc_offset_h);
  put(j, "focal_length_mm", i.focal_length_mm);
  put(j, "focal_length_35mm", i.focal_length_35mm);
  put(j, "exposure_s", i.exposure_s);
  put(j, "f_number", i.f_number);
  put(j, "iso", i.iso);
  if (i.position) {
    json position{{"lat_deg", i.position->lat_deg}, {"lon_deg", i.position->lon_deg}, {"sigma_m", i.position->sigma_m}};
    put(position, "altitude_m", i.position->altitude_m);
    put(position, "direction_deg", i.position->direction_deg);
    j["position"] = position;
  }
  return j;
}

FrameInfo frame_info_from_json(const json& j) {
  FrameInfo i;
  take(j, "make", i.make);
  take(j, "model", i.model);
  take(j, "lens", i.lens);
  take(j, "camera_id", i.camera_id);
  i.camera = camera_from_json(j.value("camera", json::object()));
  take(j, "taken_at", i.taken_at);
  take(j, "taken_at_s", i.taken_at_s);
  take(j, "utc_offset_h", i.utc_offset_h);
  take(j, "focal_length_mm", i.focal_length_mm);
  take(j, "focal_length_35mm", i.focal_length_35mm);
  take(j, "exposure_s", i.exposure_s);
  take(j, "f_number", i.f_number);
  take(j, "iso", i.iso);
  if (j.contains("position")) {
    const json& p = j["position"];
    GeoPosition position;
    take(p, "lat_deg", position.lat_deg);
    take(p, "lon_deg", position.lon_deg);
    take(p, "sigma_m", position.sigma_m);
    take(p, "altitude_m", position.altitude_m);
    take(p, "direction_deg", position.direction_deg);
    i.position = position;
  }
  return i;
}

json to_json(const Sharpness& s) {
  json j{{"detail", s.detail}, {"clipped_high_share", s.clipped_high_share}, {"clipped_low_share", s.clipped_low_share},
         {"clipped_high_channel_share", s.clipped_high_channel_share}, {"mean_level", s.mean_level},
         {"tile_columns", s.tile_columns}, {"tile_rows", s.tile_rows}, {"signature", s.signature}};
  put(j, "sharpness", s.sharpness);
  put(j, "blur_fwhm_px", s.blur_fwhm_px);
  put(j, "blur_sigma_share", s.blur_sigma_share);
  put(j, "smear_px", s.smear_px);
  put(j, "smear_deg", s.smear_deg);
  j["tiles"] = json::array();
  for (const TileBlur& tile : s.tiles) {
    json t{{"column", tile.column}, {"row", tile.row}, {"detail", tile.detail}};
    put(t, "blur_fwhm_px", tile.blur_fwhm_px);
    j["tiles"].push_back(std::move(t));
  }
  return j;
}

Sharpness sharpness_from_json(const json& j) {
  Sharpness s;
  take(j, "sharpness", s.sharpness);
  take(j, "blur_fwhm_px", s.blur_fwhm_px);
  take(j, "blur_sigma_share", s.blur_sigma_share);
  take(j, "smear_px", s.smear_px);
  take(j, "smear_deg", s.smear_deg);
  take(j, "detail", s.detail);
  take(j, "clipped_high_share", s.clipped_high_share);
  take(j, "clipped_low_share", s.clipped_low_share);
  take(j, "clipped_high_channel_share", s.clipped_high_channel_share);
  take(j, "mean_level", s.mean_level);
  take(j, "tile_columns", s.tile_columns);
  take(j, "tile_rows", s.tile_rows);
  take(j, "signature", s.signature);
  for (const json& t : j.value("tiles", json::array())) {
    TileBlur tile;
    take(t, "column", tile.column);
    take(t, "row", tile.row);
    take(t, "detail", tile.detail);
    take(t, "blur_fwhm_px", tile.blur_fwhm_px);
    s.tiles.push_back(tile);
  }
  return s;
}

json to_json(const Horizon& h) {
  return {{"line", h.line}, {"kind", h.kind}, {"roll_deg", h.roll_deg}, {"roll_sigma_deg", h.roll_sigma_deg},
          {"pitch_deg", h.pitch_deg}, {"pitch_sigma_deg", h.pitch_sigma_deg}};
}

Horizon horizon_from_json(const json& j) {
  Horizon h;
  take(j, "line", h.line);
  take(j, "kind", h.kind);
  take(j, "roll_deg", h.roll_deg);
  take(j, "roll_sigma_deg", h.roll_sigma_deg);
  take(j, "pitch_deg", h.pitch_deg);
  take(j, "pitch_sigma_deg", h.pitch_sigma_deg);
  return h;
}

json to_json(const Tilt& t) {
  return {{"down_in_camera", t.down_in_camera}, {"off_nadir_deg", t.off_nadir_deg}, {"sigma_deg", t.sigma_deg}, {"from", t.from}};
}

Tilt tilt_from_json(const json& j) {
  Tilt t;
  take(j, "down_in_camera", t.down_in_camera);
  take(j, "off_nadir_deg", t.off_nadir_deg);
  take(j, "sigma_deg", t.sigma_deg);
  take(j, "from", t.from);
  return t;
}

json to_json(const Glare& g) {
  json j{{"water_share", g.water_share}, {"glare_share", g.glare_share}, {"mask_file", g.mask_file}, {"water_mask_file", g.water_mask_file}};
  put(j, "glare_share_of_water", g.glare_share_of_water);
  put(j, "readable_water_share", g.readable_water_share);
  return j;
}

Glare glare_from_json(const json& j) {
  Glare g;
  take(j, "water_share", g.water_share);
  take(j, "glare_share", g.glare_share);
  take(j, "mask_file", g.mask_file);
  take(j, "water_mask_file", g.water_mask_file);
  take(j, "glare_share_of_water", g.glare_share_of_water);
  take(j, "readable_water_share", g.readable_water_share);
  return g;
}

}  // namespace lookdown
