// Colours of a flight made one: exposure and white balance of each frame, vignetting of each lens, in linear
// light.
#pragma once

#include <Eigen/Core>
#include <array>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/overview/overview.h"

namespace lookdown::mosaic {

/// What a frame's linear light is multiplied by at one spot: exp(log_gain + slope . (u, v) + field) /
/// V(radius), V(r) = exp(a1 r^2 + a2 r^4 + a3 r^6). radius and (u, v): from the principal point, over half
/// the frame's diagonal.
struct FrameColour {
  std::array<double, 3> log_gain{};    ///< blue, green, red; natural logarithm
  std::array<double, 2> log_slope{};   ///< of the brightness along frame columns and rows
  std::array<double, 3> vignetting{};  ///< a1, a2, a3
  cv::Mat log_field;  ///< CV_32FC1, natural logarithm, bilinear from corner to corner of the frame; or empty
  int width_px = 1, height_px = 1;  ///< of the frame
  double centre_x_px = 0, centre_y_px = 0, half_diagonal_px = 1;

  [[nodiscard]] bool is_identity() const;
};

/// Parallel to the views.
using ColourModel = std::vector<FrameColour>;

/// Nothing is changed.
[[nodiscard]] ColourModel unchanged_colours(const std::vector<FrameView>&);

/// Exposure, white balance, slope and vignetting by robust least squares on the logarithms of linear light in
/// the overlaps, glare and clipped cells left out. Priors keep the solution from drifting: exposure near what
/// Exif says, as far as the overlaps bear that out (or near equal), white balance nearly equal, slopes and
/// vignetting small. The mean log gain is zero.
[[nodiscard]] ColourModel solve_colours(const FlightRecord&, const std::vector<FrameView>&, const Survey&);

/// Gains that even out overlap means: Brown & Lowe, "Automatic panoramic image stitching using invariant
/// features", IJCV 74:59-73 (2007), eq. 29. `counts(i, j)`: pixels in the overlap of i and j; `means(i, j)`:
/// mean level of i in it; diagonals are ignored.
[[nodiscard]] Eigen::VectorXd overlap_gains(const Eigen::MatrixXd& counts, const Eigen::MatrixXd& means,
                                            double sigma_level, double sigma_gain);

/// `bgr` (CV_8UC3 or CV_16UC3, sRGB code values) with the frame's correction, CV_32FC3 in 0..255 code values
/// with fractions. `map`: CV_32FC2 positions in the frame as stored. Of eight bits to a tenth of a code value
/// or so, of sixteen to a twentieth of one of their own.
[[nodiscard]] cv::Mat corrected(const cv::Mat& bgr, const cv::Mat& map, const FrameColour&);

/// CV_32FC3 code values 0..255 with fractions to linear light 0..1 and back, in place, to a twentieth of a
/// code value of sixteen bits. What lies outside is brought to the nearer end.
void to_linear_light(cv::Mat& colours);
void to_code_values(cv::Mat& colours);

/// Puts the corrections on the survey's colours.
void correct_survey(Survey&, const std::vector<FrameView>&, const ColourModel&);

/// Linear light 0..1 of an sRGB code value 0..255 and back; IEC 61966-2-1.
[[nodiscard]] double linear_from_srgb(double code);
[[nodiscard]] double srgb_from_linear(double light);

}  // namespace lookdown::mosaic
