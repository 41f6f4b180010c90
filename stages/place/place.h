// place: where every frame lies on one ground plane. Common rules: world and camera axes as in
// pipeline/pose.h; without scale the world unit is one mosaic pixel; deterministic for any number of threads;
// a frame that is not placed says why.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::place {

struct Options {
  std::string control_file;            ///< control.csv: name,x,y,z
  std::string marks_file;              ///< marks.csv: file,name,x_px,y_px
  std::string control_crs;             ///< CRS of control positions, e.g. "EPSG:25832"; empty: local metres
  std::vector<std::string> check;      ///< names of control points to withhold as check points
  std::vector<std::string> scale_bar;  ///< two mark names and their distance in metres
  std::optional<double> gsd_m;         ///< of the mosaic; empty: median of the frames
  bool use_positions = true;           ///< Exif positions for scale, north and datum
  std::optional<double>
      height_m;  ///< approximate height above ground, for a rough scale when nothing else gives one
};
void describe(Options&, OptionVisitor&);

inline constexpr const char* kPlaceVersion = "place/9";

/// Fills FlightRecord::placement and every frame's placement from frames whose verdict is not drop (blurred
/// ones may bridge). Findings of `level` and `cull` that the ties contradict are taken back: a horizon where
/// the frame shows the same ground as its straight-down neighbours (Horizon, Tilt and view). Throws
/// std::runtime_error when the control or marks file cannot be read.
void place(FlightRecord&, const Options&, RunContext&);

}  // namespace lookdown::place
