#include <algorithm>

#include "pipeline/record/json_fields.h"
#include "pipeline/record/record_json.h"

namespace lookdown {
namespace {

using nlohmann::json;

json row_major(const Eigen::Matrix3d& m) {
  json numbers = json::array();
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 3; ++column) numbers.push_back(m(row, column));
  return numbers;
}

template <class T>
json or_null(const std::optional<T>& value) {
  return value ? json(*value) : json(nullptr);
}

json accuracy_json(const Accuracy& a) {
  json points = json::array();
  for (const ControlResidual& p : a.points)
    points.push_back({{"name", p.name},
                      {"use", p.check ? "check" : "control"},
                      {"dx_m", p.dx},
                      {"dy_m", p.dy},
                      {"dz_m", or_null(p.dz)},
                      {"marks", p.marks}});
  return {{"tie_point_rmse_px", a.tie_point_rmse_px},
          {"control_rmse_m", or_null(a.control_rmse_m)},
          {"check_rmse_x_m", or_null(a.check_rmse_x_m)},
          {"check_rmse_y_m", or_null(a.check_rmse_y_m)},
          {"check_rmse_r_m", or_null(a.check_rmse_r_m)},
          {"check_rmse_z_m", or_null(a.check_rmse_z_m)},
          {"nssda_95_m", or_null(a.nssda_95_m)},
          {"check_points", a.check_points},
          {"points", points},
          {"sentence", a.sentence}};
}

/// The ground is plane 0; heights are metres, or mosaic pixels where there is no scale.
json planes_json(const FlightPlacement& p) {
  const char* unit = p.gsd_m ? "m" : "mosaic pixels";
  json planes = json::array({{{"height", 0.0}, {"unit", unit}}});
  for (const RaisedPlane& plane : p.raised_planes)
    planes.push_back({{"height", plane.height},
                      {"unit", unit},
                      {"sigma", plane.sigma},
                      {"tie_points", plane.tie_points},
                      {"outlines_px", plane.outlines_px}});
  return planes;
}

json placed_frame(const FrameRecord& frame) {
  const FramePlacement& p = frame.placement;
  const Camera& c = p.camera;
  return {{"file", frame.source.file},
          {"group", p.group},
          {"camera",
           {{"fx_px", c.fx_px},
            {"fy_px", c.fy_px},
            {"cx_px", c.cx_px},
            {"cy_px", c.cy_px},
            {"projection", word(c.projection)},
            {"k1", c.k1},
            {"k2", c.k2},
            {"p1", c.p1},
            {"p2", c.p2},
            {"k3", c.k3}}},
          {"frame_to_mosaic", row_major(p.mosaic_from_frame.matrix)},
          {"rotation", row_major(p.pose.world_from_camera)},
          {"centre_m", {p.pose.centre.x(), p.pose.centre.y(), p.pose.centre.z()}},
          {"off_nadir_deg", off_nadir_deg(p.pose)},
          {"rmse_px", p.rmse_px}};
}

}  // namespace

json placement_document(const FlightRecord& record) {
  const FlightPlacement& p = record.placement;
  json document{{"crs", or_null(p.crs)},
                {"gsd_m", or_null(p.gsd_m)},
                {"scale_from", p.scale_from},
                {"scale_sigma_share", or_null(p.scale_sigma_share)},
                {"north_from", p.north_from},
                {"mosaic",
                 {{"file", record.mosaic ? json(record.mosaic->file) : json(nullptr)},
                  {"width_px", p.mosaic_width_px},
                  {"height_px", p.mosaic_height_px},
                  {"geotransform", or_null(p.geotransform)}}},
                {"planes", planes_json(p)},
                {"accuracy", accuracy_json(p.accuracy)},
                {"frames", json::array()},
                {"not_placed", json::array()}};
  for (const FrameRecord& frame : record.frames) {
    if (frame.placement.placed)
      document["frames"].push_back(placed_frame(frame));
    else
      document["not_placed"].push_back(
          {{"file", frame.source.file}, {"why", frame.fault ? *frame.fault : frame.placement.why_not}});
  }
  return document;
}

}  // namespace lookdown
