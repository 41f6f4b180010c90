// All that a tile is made from, in one digest: a tile whose digest an earlier mosaic has need not be rendered
// again.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/mosaic/render/scene.h"

namespace lookdown::mosaic {

/// Digests of what `render_tile` reads. Read-only after construction and safe for use from several threads;
/// scene, record and masks must stay as they are.
class TileInputs {
 public:
  /// `out`: the folder that the masks of glare are in.
  TileInputs(const Scene&, const FlightRecord&, const std::filesystem::path& out);

  /// Of the tile at `area` (canvas pixels): the frames that are shown in it and near it, where, in which
  /// colours and how bent; where they have glare there, also all others that may fill it.
  [[nodiscard]] std::string digest_of(const cv::Rect& area) const;

 private:
  const Scene& scene_;
  std::string of_scene_;              ///< what all tiles share
  std::vector<std::string> of_view_;  ///< parallel to the views: the frame, its place, its colours
};

}  // namespace lookdown::mosaic
