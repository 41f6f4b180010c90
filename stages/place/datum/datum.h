// Scale, north and origin of a placed group: from control points, a scale bar, the camera's positions, a
// stated height, or none.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/place/datum/control_points.h"
#include "stages/place/group.h"
#include "stages/place/place.h"

namespace lookdown::place {

/// Turn about z, scale and shift of the plane: p' = scale * R(turn) p + shift (x, y), z' = scale * z.
struct PlaneSimilarity {
  double scale = 1;
  double turn_rad = 0;  ///< counter-clockwise
  Eigen::Vector2d shift = Eigen::Vector2d::Zero();
};

/// Best fit of `to` by `from` in the least-squares sense, outliers losing weight at `scale_of_errors`
/// (Cauchy; <= 0: plain). Horn, J. Opt. Soc. Am. A 4:629 (1987), in the plane. Empty when fewer than two
/// distinct points.
[[nodiscard]] std::optional<PlaneSimilarity> fit_similarity(const std::vector<Eigen::Vector2d>& from,
                                                            const std::vector<Eigen::Vector2d>& to,
                                                            double scale_of_errors = 0);

/// Moves a group's poses, points and known values.
void apply(const PlaneSimilarity&, Network&);

/// What a group's world is after `set_datum`.
struct Datum {
  bool metric = false;
  std::string scale_from = "none";
  std::string north_from = "arbitrary";
  std::optional<std::string> crs;
  Eigen::Vector3d origin =
      Eigen::Vector3d::Zero();  ///< add to local coordinates for those of the control or the CRS
  bool fixed = false;           ///< scale, north and origin are all known
  std::optional<double> scale_sigma_share;
};

/// A camera position on the map, metres.
struct MapPosition {
  Eigen::Vector2d at = Eigen::Vector2d::Zero();
  double sigma_m = 5;
  std::optional<double> height = std::nullopt;  ///< above the system's zero
};
/// Positions by Options::camera_positions, else by Exif, one entry a record frame: in the UTM zone of their
/// middle (PROJ by way of GDAL), or as the table gives them. `crs` gets "EPSG:326zz", "EPSG:327zz" or
/// Options::control_crs. Throws std::runtime_error that names the table and line where it cannot be read.
[[nodiscard]] std::vector<std::optional<MapPosition>> map_positions(const FlightRecord&, const Options&,
                                                                    std::string& crs);

struct DatumInput {
  const FlightRecord& flight;
  const std::vector<TieFrame>& frames;
  const std::vector<ControlPoint>& control;
  const std::vector<std::optional<MapPosition>>& positions;
  const std::string& positions_crs;
  const Options& options;
};

/// Gives the group its datum, refining the network with control and positions where they are used.
Datum set_datum(const DatumInput&, Group&, std::vector<std::string>& warnings);

/// Where the rays of a control point's marks meet; empty when fewer than two held frames show it, or nearly
/// from the same side.
[[nodiscard]] std::optional<Eigen::Vector3d> found_in_space(const ControlPoint&, const Group&,
                                                            const std::vector<TieFrame>&);

/// Position of a control point from its marks and the present poses, at its known height; empty without a
/// mark in a firmly placed frame.
[[nodiscard]] std::optional<Eigen::Vector2d> found_position(const ControlPoint&, double height, const Group&,
                                                            const std::vector<TieFrame>&,
                                                            int* marks = nullptr);

}  // namespace lookdown::place
