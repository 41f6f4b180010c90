// Ground control and check points with their marks in the frames: control.csv (name,x,y,z) and marks.csv
// (file,name,x_px,y_px).
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::place {

/// A mark in one frame, pixels as stored.
struct Mark {
  int record = 0;  ///< index in FlightRecord::frames
  Point2<StoredPx> at;
};

struct ControlPoint {
  std::string name;
  Eigen::Vector3d given = Eigen::Vector3d::Zero();
  bool has_position = false;  ///< false: known by its marks only (ends of a scale bar)
  bool check = false;         ///< withheld from the fit
  std::vector<Mark> marks;
};

/// Reads both files; either may be empty ("" = not given). Points named in `check` are withheld. A row that
/// names an unknown file or point becomes a line in `warnings`. Throws std::runtime_error naming file and
/// line when a file cannot be read or a number is none.
[[nodiscard]] std::vector<ControlPoint> read_control(const std::string& control_file,
                                                     const std::string& marks_file,
                                                     const std::vector<std::string>& check,
                                                     const FlightRecord&, std::vector<std::string>& warnings);

/// Height of the control's system that counts as the ground plane z = 0: the median of the points with
/// positions, 0 without any.
[[nodiscard]] double ground_height_of(const std::vector<ControlPoint>&);

}  // namespace lookdown::place
