// The pixels of a frame that the cull looks at: a small whole and full-resolution tiles spread over it.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/imaging/frame_reader.h"

namespace lookdown::cull {

/// The parts that a frame's blur is told for: four along its long side.
struct RegionGrid {
  cv::Size frame;
  int columns = 0, rows = 0;
  /// Row by row.
  [[nodiscard]] int index_of(const cv::Rect& tile) const;
};
[[nodiscard]] RegionGrid region_grid(const cv::Size& frame);

struct SampledTile {
  cv::Rect where;  ///< in the frame as stored
  cv::Mat grey;    ///< CV_8UC1 at full resolution
};

struct TileSample {
  cv::Mat overview;  ///< CV_8UC3 BGR, the frame reduced
  std::vector<SampledTile>
      tiles;  ///< squares of kSpectralTile in all regions; empty when the frame is smaller than one
};

/// Large JPEG frames are read in part (see partial_jpeg.h); everything else is decoded. Throws FrameFault as
/// FramePixels does.
[[nodiscard]] TileSample sample_tiles(FramePixels&);

}  // namespace lookdown::cull
