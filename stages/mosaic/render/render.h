// From the choice of frames to pixels, one tile at a time: resample, correct the colours, join in frequency
// bands.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/mosaic/geometry/frame_store.h"
#include "stages/mosaic/render/scene.h"

namespace lookdown::mosaic {

/// In `Tile::sources` where no frame is shown.
inline constexpr int kNoSource = 65535;

/// One finished tile.
struct Tile {
  cv::Rect area;    ///< canvas pixels
  cv::Mat bgra;     ///< CV_8UC4 or CV_16UC4 as the scene asks, alpha none or full
  cv::Mat sources;  ///< CV_16UC1, FrameView::source_index or kNoSource
  cv::Mat glare;    ///< CV_8UC1, 255 where what is shown is glare; empty when there is none
};

/// Side of a tile; a multiple of the blocks of the files and of the coarsest band.
inline constexpr int kTileSide = 1024;

/// Renders `area` (canvas pixels; corners at multiples of 64). The result does not depend on how the canvas
/// is cut into tiles, to rounding.
[[nodiscard]] Tile render_tile(const Scene&, FrameStore&, const cv::Rect& area);

/// Tiles of the canvas in an order that keeps to one neighbourhood (along a Hilbert curve), so that frames
/// are decoded about once.
[[nodiscard]] std::vector<cv::Rect> tiles_of(const Canvas&);

}  // namespace lookdown::mosaic
