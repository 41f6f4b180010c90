// The mosaic cut into small pictures at halving sizes, so that the page can show it down to its last pixel
// without loading it whole. Comes in: mosaic.tif. Goes out: mosaic_tiles/LEVEL/ROW_COLUMN.jpg beside the
// page. Level 0 is the smallest and fits one tile; each further level doubles both sides; the last one has
// the mosaic's own pixels. Tiles in which nothing is covered are not written.
#pragma once

#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace cv {
class Mat;
}

namespace lookdown::report {

/// Side of a tile. Tiles at the right and lower edge are filled up to it.
inline constexpr int kTileSide_px = 512;
/// What stands where no frame saw the ground, in tiles and around the mosaic on the page: red, green, blue.
inline constexpr int kSurround[3] = {46, 54, 52};

/// One size of the mosaic and which of its tiles exist.
struct TileLevel {
  int columns = 0;
  int rows = 0;
  std::vector<bool> there;  ///< row by row
};

/// From the smallest to the mosaic's own pixels; empty when there is no mosaic to cut.
using TilePyramid = std::vector<TileLevel>;

/// Red, green, blue, alpha laid over the surround: blue, green, red as OpenCV orders them.
[[nodiscard]] cv::Mat over_surround(const cv::Mat& rgba);

/// Writes the tiles of record.mosaic below context.out. Tiles that an earlier run cut from the same bytes of
/// mosaic.tif stay; what it cut from others goes. Throws WriteError; a mosaic that cannot be read gives no
/// tiles and a folder without any.
[[nodiscard]] TilePyramid write_tiles(const FlightRecord&, RunContext&);

}  // namespace lookdown::report
