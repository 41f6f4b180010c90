#include <ogr_spatialref.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "pipeline/base/robust_statistics.h"
#include "stages/place/datum/datum.h"

namespace lookdown::place {
namespace {

struct Destroy {
  void operator()(OGRCoordinateTransformation* t) const { OGRCoordinateTransformation::DestroyCT(t); }
};

}  // namespace

std::vector<std::optional<MapPosition>> map_positions(const FlightRecord& flight, std::string& crs) {
  std::vector<std::optional<MapPosition>> positions(flight.frames.size());
  crs.clear();
  std::vector<double> lats, lons;
  for (const FrameRecord& f : flight.frames)
    if (f.info.position) {
      lats.push_back(f.info.position->lat_deg);
      lons.push_back(f.info.position->lon_deg);
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
    const auto& known = flight.frames[i].info.position;
    if (!known) continue;
    double x = known->lon_deg, y = known->lat_deg;
    if (transform->Transform(1, &x, &y)) positions[i] = MapPosition{{x, y}, known->sigma_m};
  }
  crs = "EPSG:" + std::to_string(code);
  return positions;
}

}  // namespace lookdown::place
