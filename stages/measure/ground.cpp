#include <fmt/format.h>
#include <gdal_priv.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <memory>
#include <nlohmann/json.hpp>

#include <Eigen/LU>

#include "pipeline/geometry/camera.h"
#include "stages/measure/measure.h"

namespace lookdown::measure {
namespace {

using nlohmann::json;

GDALDatasetUniquePtr open_raster(const std::filesystem::path& path) {
  GDALAllRegister();
  GDALDatasetUniquePtr raster(GDALDataset::Open(path.c_str(), GDAL_OF_RASTER));
  if (!raster)
    throw InputError(path.string() +
                     ": cannot be opened; give the output folder of a run that made a mosaic");
  return raster;
}

std::string placement_text(const std::filesystem::path& out) {
  std::ifstream file(out / "placement.json");
  if (!file)
    throw InputError((out / "placement.json").string() +
                     ": cannot be opened; give the output folder of a run that made a mosaic");
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

json placement_from(const std::string& text, const std::string& named) {
  try {
    return json::parse(text);
  } catch (const json::exception& error) {
    throw InputError(named + ": " + error.what());
  }
}

json placement_of(const std::filesystem::path& out) {
  return placement_from(placement_text(out), (out / "placement.json").string());
}

std::optional<double> number_at(const json& object, const char* key) {
  if (!object.is_object() || !object.contains(key) || !object[key].is_number()) return std::nullopt;
  return object[key].get<double>();
}

// Withheld points tell the truth; residuals of what was fitted are optimistic, and are called by their name.
void read_accuracy(const json& placement, Ground& ground) {
  const json& accuracy = placement.value("accuracy", json::object());
  ground.scale_sigma_share = number_at(placement, "scale_sigma_share");
  if (const auto check = number_at(accuracy, "check_rmse_r_m"); check && *check > 0) {
    ground.point_sigma = *check / std::sqrt(2.0);
    ground.datum_sigma = ground.point_sigma;
    ground.point_sigma_from = "check points";
    return;
  }
  const std::optional<double> control = number_at(accuracy, "control_rmse_m"),
                              ties = number_at(accuracy, "tie_point_rmse_px");
  // Few control points leave next to no residuals; what overlapping frames disagree by is then the better
  // witness.
  const double of_control = control.value_or(0) / std::sqrt(2.0),
               of_ties = ties.value_or(0) * ground.unit_per_px();
  if (!(std::max(of_control, of_ties) > 0)) return;
  ground.point_sigma = std::max(of_control, of_ties);
  ground.point_sigma_from = of_control > of_ties ? "control points (optimistic)" : "tie points (optimistic)";
}

}  // namespace

Corner Ground::ground_from_px(const Corner& p) const {
  const double column = p.x + 0.5, row = p.y + 0.5;
  return {x0 + column * x_right + row * x_down, y0 + column * y_right + row * y_down};
}

Corner Ground::px_from_ground(const Corner& p) const {
  const double dx = p.x - x0, dy = p.y - y0, determinant = x_right * y_down - x_down * y_right;
  return {(dx * y_down - dy * x_down) / determinant - 0.5, (dy * x_right - dx * y_right) / determinant - 0.5};
}

double Ground::unit_per_px() const {
  return std::sqrt(std::abs(x_right * y_down - x_down * y_right));
}

Ground open_ground(const std::filesystem::path& out) {
  return ground_of(out / "mosaic.tif", placement_text(out));
}

Ground ground_of(const std::filesystem::path& mosaic_file, const std::string& placement_json) {
  const GDALDatasetUniquePtr mosaic = open_raster(mosaic_file);
  Ground ground;
  ground.width_px = mosaic->GetRasterXSize();
  ground.height_px = mosaic->GetRasterYSize();
  double transform[6];
  if (mosaic->GetGeoTransform(transform) == CE_None) {
    ground.metric = true;
    ground.x0 = transform[0], ground.x_right = transform[1], ground.x_down = transform[2];
    ground.y0 = transform[3], ground.y_right = transform[4], ground.y_down = transform[5];
  }
  const json placement = placement_from(placement_json, mosaic_file.parent_path() / "placement.json");
  if (placement.contains("crs") && placement["crs"].is_string()) ground.crs = placement["crs"];
  read_accuracy(placement, ground);
  return ground;
}

std::vector<GsdSpot> gsd_profile(const std::filesystem::path& out, const Ground& ground, int across) {
  const GDALDatasetUniquePtr sources = open_raster(out / "mosaic_sources.tif");
  const json frames = placement_of(out).at("frames");
  const json placed_gsd = placement_of(out).value("gsd_m", json());
  // Homographies refer to the grid as placed; a mosaic made at another gsd is that grid scaled about its
  // corner.
  const double placed_per_px = placed_gsd.is_number() ? ground.unit_per_px() / placed_gsd.get<double>() : 1;
  const int step = std::max(1, std::max(ground.width_px, ground.height_px) / std::max(1, across));
  std::vector<GsdSpot> spots;
  for (int row = step / 2; row < ground.height_px; row += step)
    for (int column = step / 2; column < ground.width_px; column += step) {
      std::uint16_t source = 65535;
      if (sources->RasterIO(GF_Read, column, row, 1, 1, &source, 1, 1, GDT_UInt16, 1, nullptr, 0, 0, 0,
                            nullptr) != CE_None)
        continue;
      if (source >= frames.size()) continue;
      Eigen::Matrix3d mosaic_from_frame;
      for (int i = 0; i < 9; ++i) mosaic_from_frame(i / 3, i % 3) = frames[source]["frame_to_mosaic"][i];
      const Eigen::Matrix3d frame_from_mosaic = mosaic_from_frame.inverse();
      const Eigen::Vector3d q = frame_from_mosaic * Eigen::Vector3d((column + 0.5) * placed_per_px - 0.5,
                                                                    (row + 0.5) * placed_per_px - 0.5, 1);
      const double frame_px_per_placed_px =
          std::sqrt(std::abs(frame_from_mosaic.determinant() / (q.z() * q.z() * q.z())));
      spots.push_back({ground.ground_from_px({1.0 * column, 1.0 * row}), frames[source]["file"],
                       ground.unit_per_px() / placed_per_px / frame_px_per_placed_px});
    }
  return spots;
}

}  // namespace lookdown::measure
