#include <ogr_spatialref.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <stdexcept>

#include "pipeline/base/files/csv.h"
#include "pipeline/base/robust_statistics.h"
#include "stages/place/datum/datum.h"

namespace lookdown::place {
namespace {

struct Destroy {
  void operator()(OGRCoordinateTransformation* t) const { OGRCoordinateTransformation::DestroyCT(t); }
};

/// Camera positions as geographic coordinates or in a system of their own.
struct Given {
  bool geographic = true;
  std::vector<std::optional<GeoPosition>> geo;  ///< one a frame
  std::vector<std::optional<MapPosition>> map;
};

std::string name_part(const std::string& path) {
  return std::filesystem::path(path).filename().string();
}

struct TableRow {
  std::string file;
  double x = 0, y = 0, z = 0, sigma_m = 0;  ///< or longitude, latitude, altitude
};

/// Throws std::runtime_error that says what is wrong with the table.
std::vector<TableRow> read_table(const std::string& file, bool& geographic) {
  constexpr double kUsualSigma = 0.1;  // metres: who writes a table has positions better than a camera's own
  std::ifstream in(file);
  std::string heading;
  std::getline(in, heading);
  geographic = heading.find("lon") != std::string::npos;
  const bool sigma_stated = heading.find("sigma_m") != std::string::npos;
  const std::vector<std::string> axes =
      geographic ? std::vector<std::string>{"lon", "lat", "alt"} : std::vector<std::string>{"x", "y", "z"};
  std::vector<std::string> columns = {"file", axes[0], axes[1], axes[2]};
  if (sigma_stated) columns.push_back("sigma_m");
  const CsvTable table = CsvTable::read(file, columns);
  std::vector<TableRow> rows;
  for (std::size_t i = 0; i < table.rows(); ++i) {
    rows.push_back({name_part(table.text(i, "file")), table.number(i, axes[0]), table.number(i, axes[1]),
                    table.number(i, axes[2]), sigma_stated ? table.number(i, "sigma_m") : kUsualSigma});
    const TableRow& row = rows.back();
    if (!(row.sigma_m > 0) || (geographic && (std::abs(row.x) > 180 || std::abs(row.y) > 90)))
      throw std::runtime_error(
          file + ": the position of " + row.file +
          " is none: sigma_m is above 0, longitude within 180 degrees, latitude within 90");
  }
  return rows;
}

Given given_positions(const FlightRecord& flight, const Options& options) {
  Given given;
  given.geo.resize(flight.frames.size());
  given.map.resize(flight.frames.size());
  if (options.use_positions)
    for (std::size_t i = 0; i < flight.frames.size(); ++i) given.geo[i] = flight.frames[i].info.position;
  if (options.camera_positions.empty()) return given;
  std::map<std::string, TableRow> rows;
  for (TableRow& row : read_table(options.camera_positions, given.geographic)) rows[row.file] = row;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    const auto found = rows.find(name_part(flight.frames[i].source.file));
    if (found == rows.end()) continue;
    const TableRow& row = found->second;
    if (given.geographic) {
      GeoPosition at;
      at.lon_deg = row.x;
      at.lat_deg = row.y;
      at.altitude_m = row.z;
      at.sigma_m = row.sigma_m;
      given.geo[i] = at;
    } else {
      given.map[i] = MapPosition{{row.x, row.y}, row.sigma_m, row.z};
    }
  }
  return given;
}

}  // namespace

void check_camera_positions(const std::string& file) {
  bool geographic = false;
  if (read_table(file, geographic).empty()) throw std::runtime_error(file + ": holds no position");
}

std::vector<std::optional<MapPosition>> map_positions(const FlightRecord& flight, const Options& options,
                                                      std::string& crs) {
  crs.clear();
  const Given given = given_positions(flight, options);
  if (!given.geographic) {
    crs = options.control_crs;
    return given.map;
  }
  std::vector<std::optional<MapPosition>> positions(flight.frames.size());
  std::vector<double> lats, lons;
  for (const auto& known : given.geo)
    if (known) {
      lats.push_back(known->lat_deg);
      lons.push_back(known->lon_deg);
    }
  if (lats.empty()) return positions;
  // UTM zones are 6 degrees wide, counted from 180 W; EPSG numbers them 32601.. north and 32701.. south of
  // the equator.
  const int zone = std::clamp(int(std::floor((median(lons) + 180) / 6)) + 1, 1, 60);
  const int code = (median(lats) >= 0 ? 32600 : 32700) + zone;
  OGRSpatialReference geographic, utm;
  if (geographic.importFromEPSG(4326) != OGRERR_NONE || utm.importFromEPSG(code) != OGRERR_NONE)
    return positions;
  geographic.SetAxisMappingStrategy(OAMS_TRADITIONAL_GIS_ORDER);
  utm.SetAxisMappingStrategy(OAMS_TRADITIONAL_GIS_ORDER);
  const std::unique_ptr<OGRCoordinateTransformation, Destroy> transform(
      OGRCreateCoordinateTransformation(&geographic, &utm));
  if (!transform) return positions;
  for (std::size_t i = 0; i < positions.size(); ++i) {
    const auto& known = given.geo[i];
    if (!known) continue;
    double x = known->lon_deg, y = known->lat_deg;
    if (transform->Transform(1, &x, &y))
      positions[i] = MapPosition{{x, y}, known->sigma_m, known->altitude_m};
  }
  crs = "EPSG:" + std::to_string(code);
  return positions;
}

}  // namespace lookdown::place
