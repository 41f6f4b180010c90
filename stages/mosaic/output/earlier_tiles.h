// The tiles of the mosaic that an earlier run left in the output folder, under the digests of what they were
// made from.
#pragma once

#include <filesystem>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>

#include "pipeline/base/files/cache.h"
#include "stages/mosaic/render/render.h"

class GDALDataset;

namespace lookdown::mosaic {

/// Digests (of `TileInputs`) and places of a mosaic's tiles.
using TileDigests = std::map<std::string, cv::Rect>;

/// Safe for use from several threads.
class EarlierTiles {
 public:
  /// Nothing is found when `out` does not hold the files that were remembered, unchanged to the byte.
  EarlierTiles(const std::filesystem::path& out, const Cache&);
  ~EarlierTiles();
  EarlierTiles(const EarlierTiles&) = delete;
  EarlierTiles& operator=(const EarlierTiles&) = delete;

  /// The tile made from the same inputs; empty when there is none, or when its file cannot be read.
  [[nodiscard]] std::optional<Tile> find(const std::string& digest) const;

 private:
  struct Closed {
    void operator()(GDALDataset*) const;
  };
  using File = std::unique_ptr<GDALDataset, Closed>;
  File colours_, sources_, glare_;
  TileDigests tiles_;
  mutable std::mutex reading_;  // GDAL's datasets are for one thread at a time
};

/// Notes for a later run what the finished mosaic in `out` consists of. For files that keep pixels to the
/// bit; others must not be remembered.
void remember_tiles(const std::filesystem::path& out, const TileDigests&, const Cache&);

}  // namespace lookdown::mosaic
