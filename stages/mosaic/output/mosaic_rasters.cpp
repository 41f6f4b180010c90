#include "stages/mosaic/output/mosaic_rasters.h"

#include <fmt/core.h>

#include <opencv2/imgproc.hpp>
#include <string>

namespace lookdown::mosaic {
namespace {

RasterKind described(RasterKind kind, Derivation derivation, const char* what) {
  derivation.processing = what;
  kind.tags = tiff_tags(derivation);
  return kind;
}

RasterKind colour_kind(int bits) {
  return {.depth = bits == 16 ? CV_16U : CV_8U, .band_names = {"red", "green", "blue", "alpha"}};
}

/// Frames that only fill are named with the band: a reader of the numbers alone can tell them.
RasterKind sources_kind(const std::vector<FrameView>& views) {
  std::string filling;
  for (const FrameView& view : views)
    if (view.fills) filling += fmt::format("{}{}", filling.empty() ? "" : ", ", view.source_index);
  if (!filling.empty())
    filling = "; dropped for blur and shown only where no other frame sees the ground: " + filling;
  return {.bands = 1,
          .depth = CV_16U,
          .alpha = false,
          .averaged_overviews = false,
          .no_value = kNoSource,
          .band_names = {"index into the frames of placement.json" + filling}};
}

RasterKind glare_kind() {
  return {.bands = 1,
          .alpha = false,
          .averaged_overviews = false,
          .band_names = {"255 where what is shown is glare"}};
}

}  // namespace

Derivation derivation_of(const FlightRecord& flight, const std::vector<FrameView>& views) {
  Derivation derivation{"straight-down mosaic", {}, {}};
  std::vector<std::filesystem::path> files;
  for (const FrameView& view : views) {
    derivation.frames.push_back(flight.frames[view.frame_index].source.file);
    files.push_back(flight.frames[view.frame_index].source.path);
  }
  derivation.attribution = attribution_of(files);
  return derivation;
}

MosaicRasters::MosaicRasters(const std::filesystem::path& out, const Canvas& canvas,
                             const Derivation& derivation, const std::vector<FrameView>& views, int bits)
    : colours(out / kColoursFile, canvas,
              described(colour_kind(bits), derivation, derivation.processing.c_str())),
      sources(out / kSourcesFile, canvas,
              described(sources_kind(views), derivation, "source frame of every pixel of a mosaic")),
      glare(out / kGlareFile, canvas, described(glare_kind(), derivation, "glare that is left in a mosaic")) {
}

void MosaicRasters::write(const Tile& tile) {
  if (tile.bgra.empty()) return;
  cv::Mat rgba;
  cv::cvtColor(tile.bgra, rgba, cv::COLOR_BGRA2RGBA);
  colours.write(tile.area, rgba);
  sources.write(tile.area, tile.sources);
  if (!tile.glare.empty()) glare.write(tile.area, tile.glare);
}

}  // namespace lookdown::mosaic
