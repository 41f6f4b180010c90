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
  std::string camera_positions;        ///< table of camera positions, before those in Exif
  std::vector<std::string> check;      ///< names of control points to withhold as check points
  std::vector<std::string> scale_bar;  ///< two mark names and their distance in metres
  std::optional<double> gsd_m;         ///< of the mosaic; empty: median of the frames
  bool use_positions = true;           ///< Exif positions for scale, north and datum
  std::optional<double>
      height_m;  ///< approximate height above ground, for a rough scale when nothing else gives one
  int part = 1;  ///< of the parts that share no ground, the one that the mosaic shows; 1 has the most frames
};
void describe(Options&, OptionVisitor&);

inline constexpr const char* kPlaceVersion = "place/19";

/// Fills FlightRecord::placement and every frame's placement from frames whose verdict is not drop (blurred
/// ones may bridge). Findings of `level` and `cull` that the ties contradict are taken back: a horizon where
/// the frame shows the same ground as its straight-down neighbours (Horizon, Tilt and view). Throws
/// std::runtime_error when the control or marks file cannot be read.
void place(FlightRecord&, const Options&, RunContext&);

/// Where a control point shows in a frame: predicted from the placement, refined on the pixels, offered for a
/// person to confirm. It becomes a mark only when the person hands the table back as the marks file.
struct ProposedMark {
  std::string file;
  std::string name;
  Point2<StoredPx> at;
  std::string from;  ///< "person" (given), "picture" (refined on the pixels) or "placement" (predicted only)
  double likeness = 0;    ///< correlation with the patch around a person's mark, 0 when none was possible
  std::string crop_file;  ///< small picture with a cross on the spot, below the output folder
};

/// Proposals for all control points of options.control_file and options.marks_file, ordered by point, then
/// frame. A point is predicted from its given position when the placement rests on control, else from the
/// marks that a person has set. Throws as read_control does.
[[nodiscard]] std::vector<ProposedMark> propose_marks(FlightRecord&, const Options&, RunContext&);

/// Writes OUT/marks.csv (file,name,x_px,y_px,from,likeness); its first four columns are a marks file.
void write_proposed_marks(const std::vector<ProposedMark>&, RunContext&);

/// Throws std::runtime_error that says what is wrong with a table of camera positions.
void check_camera_positions(const std::string& file);

}  // namespace lookdown::place
