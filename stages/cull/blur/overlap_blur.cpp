#include "stages/cull/blur/overlap_blur.h"

#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/cull/blur/blur_features.h"
#include "stages/cull/spectrum/log_periodogram.h"

namespace lookdown::cull {
namespace {

constexpr int kMostTiles = 60;
constexpr int kComparedTiles = 3;
// A piece shown much larger or smaller in the other frame has been resampled too much to compare.
constexpr double kLargestScale = 1.6;
constexpr double kMargin_px = 4;

cv::Point2f in_other(const FrameRecord& one, const FrameRecord& other, double x, double y) {
  const auto on_mosaic = one.placement.mosaic_from_frame * one.placement.camera.undistort({x, y});
  const auto p = other.placement.camera.distort(other.placement.mosaic_from_frame.inverse() * on_mosaic);
  return {static_cast<float>(p.x), static_cast<float>(p.y)};
}

/// The tile of `one` as `other` shows it; empty when it does not lie inside.
cv::Mat same_ground(const FrameRecord& one, const cv::Rect& tile, const FrameRecord& other,
                    const cv::Mat& other_grey) {
  const auto side = static_cast<float>(kSpectralTile - 1);
  const std::vector<cv::Point2f> corners = {{0, 0}, {side, 0}, {side, side}, {0, side}};
  std::vector<cv::Point2f> there;
  for (const cv::Point2f& c : corners) {
    there.push_back(in_other(one, other, tile.x + c.x, tile.y + c.y));
    const cv::Point2f& p = there.back();
    if (!(p.x > kMargin_px && p.y > kMargin_px && p.x < other_grey.cols - 1 - kMargin_px &&
          p.y < other_grey.rows - 1 - kMargin_px))
      return {};
  }
  const double scale = std::sqrt(cv::contourArea(there)) / side;
  if (scale > kLargestScale || scale < 1 / kLargestScale) return {};
  cv::Mat out;
  cv::warpPerspective(other_grey, out, cv::getPerspectiveTransform(corners, there),
                      {kSpectralTile, kSpectralTile}, cv::INTER_LANCZOS4 | cv::WARP_INVERSE_MAP,
                      cv::BORDER_REFLECT);
  return out;
}

/// Middle of each ring of DirectionBands, cycles/px.
constexpr std::array<double, kBands> kRingMiddle = {0.011, 0.028, 0.0405, 0.055,  0.073, 0.0955, 0.123,
                                                    0.155, 0.191, 0.23,   0.2725, 0.32,  0.3775, 0.455};

}  // namespace

std::optional<OverlapBlur> compare_overlap(const FrameRecord& one, const cv::Mat& one_grey,
                                           const FrameRecord& other, const cv::Mat& other_grey) {
  cv::Mat one_mean, other_mean;
  double one_floor = 0, other_floor = 0;
  int tiles = 0;
  for (const cv::Rect& where : spectral_tiles(one_grey.size(), kMostTiles)) {
    const cv::Mat there = same_ground(one, where, other, other_grey);
    if (there.empty()) continue;
    const TileSpectrum mine = tile_spectrum(one_grey(where), where), theirs = tile_spectrum(there, where);
    if (theirs.middle_power < 3 * theirs.corner_power || theirs.middle_power < 1) continue;
    one_mean = tiles == 0 ? mine.log_periodogram.clone() : cv::Mat(one_mean + mine.log_periodogram);
    other_mean = tiles == 0 ? theirs.log_periodogram.clone() : cv::Mat(other_mean + theirs.log_periodogram);
    one_floor += std::log(mine.corner_power + 0.01);
    other_floor += std::log(theirs.corner_power + 0.01);
    ++tiles;
  }
  if (tiles < kComparedTiles) return std::nullopt;
  const auto one_rings = direction_bands(one_mean / tiles).colwise().mean().eval();
  const auto other_rings = direction_bands(other_mean / tiles).colwise().mean().eval();
  // Rings in which both stand at least a factor 2 above their noise; the mean of a logarithm lies 0.58 below
  // the logarithm of the mean.
  const double clear = std::log(2.0) - 0.58;
  double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
  for (int ring = 1; ring < kBands; ++ring) {
    if (one_rings[ring] < one_floor / tiles + clear || other_rings[ring] < other_floor / tiles + clear)
      continue;
    const double x = -4 * std::numbers::pi * std::numbers::pi * kRingMiddle[ring] * kRingMiddle[ring],
                 y = one_rings[ring] - other_rings[ring];
    n += 1, sx += x, sy += y, sxx += x * x, sxy += x * y;
  }
  if (n < 4) return std::nullopt;
  return OverlapBlur{(n * sxy - sx * sy) / (n * sxx - sx * sx), tiles};
}

}  // namespace lookdown::cull
