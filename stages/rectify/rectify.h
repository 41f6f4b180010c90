// rectify: an oblique frame laid onto the ground plane. Common rules: the size of the canvas is checked before memory is
// taken; pixels near the horizon are left out where the ground resolution is worse than a given factor of the best;
// output is north-up GeoTIFF with alpha and a world file.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/flight_record.h"
#include "pipeline/frame_reader.h"
#include "pipeline/option_table.h"
#include "pipeline/result.h"

namespace lookdown::rectify {

struct Options {
  std::optional<double> gsd_m;         ///< empty: the best ground resolution in the frame
  double coarsest_factor = 4;          ///< leave out pixels whose ground resolution is worse than this times the best
  double plane_height_m = 0;           ///< raise the plane, e.g. to a roof
  std::optional<double> height_m;      ///< camera above ground, for frames with a tilt but no placement
  double max_megapixels = 400;         ///< a larger canvas is refused
};
void describe(Options&, OptionVisitor&);

/// A map from the frame to the ground with the part of the ground worth showing.
struct GroundView {
  Homography<Ground, UndistortedPx> ground_from_frame;
  double gsd = 0;                              ///< ground units a pixel
  double x_min = 0, y_min = 0, x_max = 0, y_max = 0;  ///< ground rectangle
  int width_px = 0, height_px = 0;
};

/// From a pose.
Result<GroundView> view_from_pose(const Camera&, const Pose&, const Options&);
/// From four or more marks with known ground positions.
Result<GroundView> view_from_marks(const Camera&, const std::vector<Point2<StoredPx>>& marks,
                                   const std::vector<Point2<Ground>>& positions, const Options&);
/// Least-squares homography, ground from undistorted pixels (normalised DLT refined; Hartley & Zisserman alg. 4.1-4.3).
Result<Homography<Ground, UndistortedPx>> fit_homography(const std::vector<Point2<UndistortedPx>>&, const std::vector<Point2<Ground>>&);

/// Resamples the frame into the view and writes GeoTIFF + world file.
Result<std::filesystem::path> write_rectified(const FrameRecord&, const GroundView&, const std::optional<std::string>& crs,
                                              const std::filesystem::path& tif, const Options&, const FrameReader&);

}  // namespace lookdown::rectify
