#include "stages/cull/frame_parts.h"

#include "stages/cull/log_power.h"
#include "stages/cull/partial_jpeg.h"

namespace lookdown::cull {
namespace {

// Tiles of a frame that is decoded in full, half overlapping, and of one that is read in part.
constexpr int kMostTiles = 160;
constexpr int kMostPartialTiles = 104;
// Below this a full decode costs less than the bookkeeping saves.
constexpr long kPartialPixels = 6'000'000;
constexpr int kOverviewLongSide = 1024;

std::vector<FrameTile> cut(const cv::Mat& grey) {
  std::vector<FrameTile> tiles;
  for (const cv::Rect& where : spectral_tiles(grey.size(), kMostTiles)) tiles.push_back({where, grey(where)});
  return tiles;
}

bool read_in_part(FramePixels& pixels, FrameParts& out) {
  const FrameSource& source = pixels.source();
  if (source.format != "JPEG" || static_cast<long>(source.width_px) * source.height_px < kPartialPixels) return false;
  const auto& file = pixels.bytes();
  const auto size = partial_decode_size(file);
  if (!size) return false;
  // Blocks are 8 pixels wide: tiles on the block grid need no block more than they show.
  std::vector<cv::Rect> wanted = spectral_tiles(*size, kMostPartialTiles);
  for (cv::Rect& where : wanted) where.x &= ~7, where.y &= ~7;
  auto picture = decode_parts(file, wanted);
  if (!picture) return false;
  out.overview = picture->overview;
  for (std::size_t i = 0; i < wanted.size(); ++i) out.tiles.push_back({wanted[i], std::move(picture->parts[i])});
  return true;
}

}  // namespace

FrameParts read_parts(FramePixels& pixels) {
  FrameParts out;
  if (read_in_part(pixels, out)) return out;
  out.overview = pixels.bgr(pixels.reduction_for(kOverviewLongSide));
  out.tiles = cut(pixels.grey(1));
  return out;
}

}  // namespace lookdown::cull
