#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/glare/added_light.h"
#include "stages/glare/glare.h"
#include "stages/glare/glare_search.h"

namespace lookdown::glare {
namespace {

constexpr double kRadians = std::numbers::pi / 180.0;

double share_of(const cv::Mat& mask) {
  return mask.empty() ? 0 : static_cast<double>(cv::countNonZero(mask)) / mask.total();
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
  const double zenith_angle = (90.0 - sun->elevation_deg) * kRadians, slope = wave_slope(options);
  const double blur = tilt->sigma_deg * kRadians;
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

Found find(FramePixels& pixels, const FrameInfo& info, const std::optional<Tilt>& tilt,
           const std::optional<SunPosition>& sun, const Options& options) {
  Found found;
  const cv::Mat& picture = pixels.bgr(pixels.reduction_for(2 * kWorkingLongSidePx));
  const SearchResult seen = search_picture(picture, ring_prior(info.camera, tilt, sun, options));

  Masks masks = masks_above(seen.water, seen.limit, pixels.grey());
  *found.water_mask = masks.water;
  *found.glare_mask = masks.glare;

  found.glare.water_share = share_of(*found.water_mask);
  found.glare.glare_share = share_of(*found.glare_mask);
  if (found.glare.water_share > 0.001) {
    found.glare.glare_share_of_water = found.glare.glare_share / found.glare.water_share;
    const double veiled =
        cv::sum(seen.glare)[0] / std::max(1.0, static_cast<double>(cv::countNonZero(seen.water > 0.5f)));
    found.glare.readable_water_share =
        std::clamp(1.0 - std::max(veiled, *found.glare.glare_share_of_water), 0.0, 1.0);
  }
  return found;
}

}  // namespace lookdown::glare
