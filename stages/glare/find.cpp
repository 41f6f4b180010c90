#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "stages/glare/frame_masks.h"
#include "stages/glare/glare.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/sun/mirror_in_frame.h"
#include "stages/glare/sun/sun_from_glint.h"

namespace lookdown::glare {
namespace {

// In pixels of the working copy: beyond, whatever lies there is as smooth as water.
bool too_blurred(const Sharpness& sharpness, const FrameInfo& info) {
  constexpr double kMostBlurPx = 4, kMostSmearPx = 7;
  const double scale = std::min(1.0, static_cast<double>(kWorkingLongSidePx) /
                                         std::max({1, info.camera.width_px, info.camera.height_px}));
  return sharpness.blur_fwhm_px.value_or(0) * scale > kMostBlurPx ||
         sharpness.smear_px.value_or(0) * scale > kMostSmearPx;
}

bool can_tell(const FrameInfo& info, const Circumstances& known) {
  constexpr double kMostOffNadirDeg = 40;
  if (known.shows_horizon || (known.tilt && known.tilt->off_nadir_deg > kMostOffNadirDeg)) return false;
  return !known.sharpness || !too_blurred(*known.sharpness, info);
}

// The heading of a single frame is not known, but the mirror point lies at a known angle from straight down:
// a ring.
GlintPrior ring_prior(const Camera& camera, const std::optional<Tilt>& tilt,
                      const std::optional<SunPosition>& sun, const Options& options) {
  GlintPrior prior;
  if (!tilt || !sun || camera.fx_px <= 0) return prior;
  constexpr int kColumns = 64;
  const int rows = std::max(1, kColumns * camera.height_px / std::max(1, camera.width_px));
  prior.odds = cv::Mat(rows, kColumns, CV_32FC1);
  const Eigen::Vector3d down = Eigen::Map<const Eigen::Vector3d>(tilt->down_in_camera.data());
  const double zenith_angle = (90.0 - sun->elevation_deg) * kDegree, slope = wave_slope(options);
  const double blur = tilt->sigma_deg * kDegree;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < kColumns; ++column) {
      const Point2<StoredPx> stored{(column + 0.5) * camera.width_px / kColumns - 0.5,
                                    (row + 0.5) * camera.height_px / rows - 0.5};
      const double angle = std::acos(std::clamp(camera.ray(camera.undistort(stored)).dot(down), -1.0, 1.0));
      // The facet that mirrors the sun at the best azimuth leans by half the difference of the two angles.
      const double lean = 0.5 * std::abs(angle - zenith_angle);
      prior.odds.at<float>(row, column) =
          odds_of_facets(std::exp(-std::tan(lean) * std::tan(lean) / (slope + 0.25 * blur * blur)));
    }
  return prior;
}

}  // namespace

Found::Found() : glare_mask(std::make_unique<cv::Mat>()), water_mask(std::make_unique<cv::Mat>()) {}
Found::Found(Found&&) noexcept = default;
Found& Found::operator=(Found&&) noexcept = default;
Found::~Found() = default;

std::optional<Found> find(FramePixels& pixels, const FrameInfo& info, const Circumstances& known,
                          const Options& options) {
  if (!can_tell(info, known)) return std::nullopt;
  const cv::Mat& luma = pixels.grey();
  const WorkingPicture picture = prepare(pixels.bgr(pixels.reduction_for(2 * kWorkingLongSidePx)), luma);
  const SearchResult seen = search_picture(picture, ring_prior(info.camera, known.tilt, known.sun, options));
  const FrameMasks masks = frame_masks(seen.water, seen.glint, luma);
  Found found;
  found.glare = shares_of(masks, seen.glint);
  // Without the sun's elevation nothing follows from it.
  if (known.sun) found.glare.mirror_point = mirror_in_frame(masks, info.camera, known.tilt);
  if (found.glare.glare_share > 0) *found.glare_mask = masks.glare;
  if (found.glare.water_share > 0) *found.water_mask = masks.water;
  return found;
}

}  // namespace lookdown::glare
