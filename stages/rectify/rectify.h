// rectify: an oblique frame laid onto the ground plane. Common rules: the size of the canvas is checked
// before memory is taken; pixels near the horizon are left out where the ground resolution is worse than a
// given factor of the best; output is north-up GeoTIFF with alpha and a world file.
#pragma once

#include <Eigen/Core>
#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/base/result.h"
#include "pipeline/imaging/frame_reader.h"
#include "pipeline/record/flight_record.h"

namespace lookdown::rectify {

struct Options {
  std::optional<double> gsd_m;  ///< empty: the best ground resolution in the frame
  double coarsest_factor = 4;  ///< leave out pixels whose ground resolution is worse than this times the best
  double plane_height_m = 0;   ///< raise the plane, e.g. to a roof
  std::optional<double> height_m;  ///< camera above ground, for frames with a tilt but no placement
  double max_megapixels = 400;     ///< a larger canvas is refused
  std::string ground_file;         ///< table of signs on the ground of single frames, see read_ground_signs
};
void describe(Options&, OptionVisitor&);

/// A map from the frame to the ground with the part of the ground worth showing.
struct GroundView {
  Camera camera;  ///< of the frame, for the lens distortion
  Homography<Ground, UndistortedPx> ground_from_frame;
  double gsd = 0;                                     ///< ground units a pixel
  double x_min = 0, y_min = 0, x_max = 0, y_max = 0;  ///< ground rectangle
  int width_px = 0, height_px = 0;
  double coarsest_gsd = 0;  ///< pixels with a worse ground resolution are left out
};

/// Pose of a camera `height_m` above the ground whose straight down is known but not its heading or position:
/// it stands over (0, 0), and the top of the frame as stored points north as nearly as it can.
[[nodiscard]] Pose pose_from_down(const Eigen::Vector3d& down_in_camera, double height_m);

/// From a pose.
Result<GroundView> view_from_pose(const Camera&, const Pose&, const Options&);
/// From four or more marks with known ground positions.
Result<GroundView> view_from_marks(const Camera&, const std::vector<Point2<StoredPx>>& marks,
                                   const std::vector<Point2<Ground>>& positions, const Options&);
/// From the four corners of a level rectangle of known sides, given in turn (either way round) with the first
/// side `width` long; the first corner becomes (0, 0), the first side runs along +x, the second along +y.
Result<GroundView> view_from_rectangle(const Camera&, const std::array<Point2<StoredPx>, 4>& corners,
                                       double width, double height, const Options&);

/// A straight edge in the frame by two of its points.
struct FrameEdge {
  Point2<StoredPx> from, to;
};
/// From two families of level parallels that are not parallel to each other: their two vanishing points span
/// the horizon, which gives the tilt; the first family runs along +x. The height (Options::height_m) gives
/// the scale, else the height is 1 unit.
Result<GroundView> view_from_parallels(const Camera&, const std::vector<FrameEdge>& first,
                                       const std::vector<FrameEdge>& second, const Options&);

/// What a person marked on the ground of one frame: marks at known positions, or the four corners of a level
/// rectangle in turn with its first and second side, or the ends of edges along and across.
struct GroundSigns {
  std::string file;
  std::vector<Point2<StoredPx>> marks;
  std::vector<Point2<Ground>> positions;
  std::vector<Point2<StoredPx>> corners;
  double width_m = 0, length_m = 0;
  std::vector<Point2<StoredPx>> ends_along, ends_across;
};

/// Reads a table `file,sign,x_px,y_px,x_m,y_m`. Sign is `mark` (with its position in metres), `corner` (four
/// rows a rectangle; x_m and y_m of the first are the lengths of the first and second side), `along` or
/// `across` (two rows an edge; positions stay empty). Throws std::runtime_error naming file and line.
[[nodiscard]] std::vector<GroundSigns> read_ground_signs(const std::filesystem::path&);

/// The view that a frame's signs give; a fault when they are too few or of several kinds.
Result<GroundView> view_from_signs(const Camera&, const GroundSigns&, const Options&);

/// Least-squares homography, ground from undistorted pixels (normalised DLT refined; Hartley & Zisserman
/// alg. 4.1-4.3).
Result<Homography<Ground, UndistortedPx>> fit_homography(const std::vector<Point2<UndistortedPx>>&,
                                                         const std::vector<Point2<Ground>>&);

/// Resamples the frame into the view and writes GeoTIFF + world file.
Result<std::filesystem::path> write_rectified(const FrameRecord&, const GroundView&,
                                              const std::optional<std::string>& crs,
                                              const std::filesystem::path& tif, const Options&,
                                              const FrameReader&);

}  // namespace lookdown::rectify
