// The rasters of a mosaic that grow tile by tile: colours, sources, glare.
#pragma once

#include <filesystem>
#include <vector>

#include "pipeline/imaging/metadata/derived_metadata.h"
#include "pipeline/record/flight_record.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/output/raster_file.h"
#include "stages/mosaic/render/render.h"

namespace lookdown::mosaic {

inline constexpr const char *kColoursFile = "mosaic.tif", *kSourcesFile = "mosaic_sources.tif",
                            *kGlareFile = "mosaic_glare.tif";

/// What the files made from these frames say about themselves.
[[nodiscard]] Derivation derivation_of(const FlightRecord&, const std::vector<FrameView>&);

struct MosaicRasters {
  RasterFile colours, sources, glare;
  /// `bits`: of the colours, 8 or 16. Throws WriteError, as `write` does.
  MosaicRasters(const std::filesystem::path& out, const Canvas&, const Derivation&,
                const std::vector<FrameView>&, int bits);
  void write(const Tile&);
};

}  // namespace lookdown::mosaic
