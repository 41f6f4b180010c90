#include "stages/cull/spectrum/tile_sampling.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "pipeline/imaging/partial_jpeg/partial_jpeg.h"
#include "stages/cull/spectrum/log_periodogram.h"

namespace lookdown::cull {
namespace {

constexpr int kMostTiles = 160;  // half overlapping, of a frame that is decoded in full
// Of a frame that is read in part: the richest in each region, which tell the blur, and the poorest, which
// tell the noise.
constexpr int kCandidates = 280;
constexpr int kRichOfRegion = 4, kPoorOfRegion = 1;
// Below this a full decode costs less than the bookkeeping saves.
constexpr long kPartialPixels = 6'000'000;
constexpr int kOverviewLongSide = 1024;
constexpr int kBlock = 8;  // pixels of the frame for one of the overview

std::vector<SampledTile> cut(const cv::Mat& grey) {
  std::vector<SampledTile> tiles;
  for (const cv::Rect& where : spectral_tiles(grey.size(), kMostTiles)) tiles.push_back({where, grey(where)});
  return tiles;
}

/// Variance of the overview's differences between neighbours in each tile.
double structure_in(const cv::Mat& overview, const cv::Rect& tile) {
  const cv::Mat part =
      overview(cv::Rect(tile.x / kBlock, tile.y / kBlock, tile.width / kBlock, tile.height / kBlock));
  const auto differences = [](const cv::Mat& a, const cv::Mat& b) {
    return cv::norm(a, b, cv::NORM_L2SQR) / static_cast<double>(a.total());
  };
  return differences(part.colRange(1, part.cols), part.colRange(0, part.cols - 1)) +
         differences(part.rowRange(1, part.rows), part.rowRange(0, part.rows - 1));
}

std::vector<cv::Rect> promising_tiles(const cv::Mat& overview, const cv::Size& size) {
  cv::Mat grey;
  cv::cvtColor(overview, grey, cv::COLOR_BGR2GRAY);
  const RegionGrid regions = region_grid(size);
  std::vector<std::vector<std::pair<double, cv::Rect>>> by_region(static_cast<std::size_t>(regions.columns) *
                                                                  regions.rows);
  for (cv::Rect where : spectral_tiles(size, kCandidates)) {
    // Tiles on the block grid need no block more than they show.
    where.x &= ~(kBlock - 1), where.y &= ~(kBlock - 1);
    by_region[regions.index_of(where)].emplace_back(structure_in(grey, where), where);
  }
  std::vector<cv::Rect> chosen;
  for (auto& region : by_region) {
    std::stable_sort(region.begin(), region.end(),
                     [](const auto& a, const auto& b) { return a.first > b.first; });
    for (std::size_t i = 0; i < region.size(); ++i)
      if (i < kRichOfRegion || i + kPoorOfRegion >= region.size()) chosen.push_back(region[i].second);
  }
  return chosen;
}

bool read_in_part(FramePixels& pixels, TileSample& out) {
  const FrameSource& source = pixels.source();
  if (source.format != "JPEG" || static_cast<long>(source.width_px) * source.height_px < kPartialPixels)
    return false;
  const auto picture = PartialJpeg::open(pixels.bytes());
  if (!picture) return false;
  out.overview = picture->overview();
  for (const cv::Rect& where : promising_tiles(out.overview, picture->size())) {
    out.tiles.push_back({where, picture->luminance(where)});
    if (out.tiles.back().grey.empty()) return false;
  }
  return true;
}

}  // namespace

int RegionGrid::index_of(const cv::Rect& tile) const {
  // Tiles lie inside the frame, so their centres keep half a tile from its sides; the regions share what is
  // between.
  const auto at = [](int first_px, int length_px, int count) {
    return std::clamp(first_px * count / std::max(1, length_px - kSpectralTile + 1), 0, count - 1);
  };
  return at(tile.y, frame.height, rows) * columns + at(tile.x, frame.width, columns);
}

RegionGrid region_grid(const cv::Size& frame) {
  constexpr int kLongSide = 4;
  const double share =
      static_cast<double>(std::min(frame.width, frame.height)) / std::max(frame.width, frame.height);
  const int short_side = std::max(1, cvRound(kLongSide * share));
  return frame.width >= frame.height ? RegionGrid{frame, kLongSide, short_side}
                                     : RegionGrid{frame, short_side, kLongSide};
}

TileSample sample_tiles(FramePixels& pixels) {
  TileSample out;
  if (read_in_part(pixels, out)) return out;
  out.tiles.clear();
  out.overview = pixels.bgr(pixels.reduction_for(kOverviewLongSide));
  out.tiles = cut(pixels.grey(1));
  return out;
}

}  // namespace lookdown::cull
