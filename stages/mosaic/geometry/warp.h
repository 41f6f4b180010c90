// Resampling of frames onto the canvas.
#pragma once

#include <opencv2/core.hpp>

#include "stages/mosaic/geometry/frame_view.h"

namespace lookdown::mosaic {

/// Positions in the frame as stored for every pixel of `area` (canvas pixels): CV_32FC2 of area's size. Exact
/// on a grid of 16 px and linear between, which is within 0.01 px for views that are usable. Positions beyond
/// the frame are clamped to its edge pixels, so that the frame continues beyond its edge in its edge colours.
[[nodiscard]] cv::Mat position_map(const FrameView&, const cv::Rect& area);

/// CV_8UC1, 255 where the view is usable, for every pixel of `area`; `even_hidden`: or in view behind
/// something.
[[nodiscard]] cv::Mat usable_map(const FrameView&, const cv::Rect& area, bool even_hidden = false);

/// CV_8UC1, 255 where something that stands higher hides the place from the view; empty when nowhere.
[[nodiscard]] cv::Mat hidden_map(const FrameView&, const cv::Rect& area);

/// Reduction (1, 2, 4 or 8) at which a frame may be decoded when it is seen at `frame_px_per_mosaic_px`
/// without losing resolution.
[[nodiscard]] int decode_reduction(double frame_px_per_mosaic_px);

/// CV_8UC1, 255 where the view is bent less than was wanted; empty when nowhere.
[[nodiscard]] cv::Mat strained_map(const FrameView&, const cv::Rect& area);

/// Median local scale over `area`, or 1 when nothing is usable there.
[[nodiscard]] double typical_scale(const FrameView&, const cv::Rect& area);

/// How much care a resampling takes: `coarse` is bilinear, for pixels that only lend their broad tones.
enum class Detail { full, coarse };

/// `picture` (the frame reduced by `reduction`) resampled at `map` (positions in the frame as stored):
/// Lanczos with 8 x 8 taps, behind a Gaussian against aliasing where the frame is finer than the canvas
/// (`frame_px_per_mosaic_px` > 1). CV_8UC3 or CV_16UC3, like `picture`.
[[nodiscard]] cv::Mat resample(const cv::Mat& picture, int reduction, const cv::Mat& map,
                               double frame_px_per_mosaic_px, Detail detail = Detail::full);

/// The same, with full detail only in the neighbourhood of where `shown` (CV_8UC1, of the map's size) is not
/// zero.
[[nodiscard]] cv::Mat resample_shown(const cv::Mat& picture, int reduction, const cv::Mat& map,
                                     double frame_px_per_mosaic_px, const cv::Mat& shown);

}  // namespace lookdown::mosaic
