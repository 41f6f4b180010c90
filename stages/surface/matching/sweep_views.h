// Frames as the sweep looks at them: pinhole pictures of about the grid's resolution, free of lens
// distortion, kept as long as the memory allows; and which of them tell the heights of a tile.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/imaging/frame_reader.h"
#include "pipeline/imaging/picture_store.h"
#include "pipeline/record/flight_record.h"

namespace lookdown::surface {

inline constexpr int kViewsEnough = 2;  ///< of a place: frames that only fill are not asked there

/// A frame's geometry at the resolution of its picture.
struct SweepView {
  int frame = -1;  ///< in FlightRecord::frames
  Eigen::Vector3d centre = Eigen::Vector3d::Zero();
  double scale = 1;  ///< of the picture against the frame
  cv::Size size;     ///< of the picture
  Eigen::Matrix3d picture_from_world =
      Eigen::Matrix3d::Identity();  ///< K R of the picture: of (world - centre)
  bool is_sure = true;              ///< its verdict is keep, or was before a person dropped it
  bool fills = false;               ///< too blurred to count where other frames show enough
};

/// Views of the frames of the first group that are neither dropped nor slanting, with pictures whose pixels
/// show `ground_px` of the plane z = 0 (world units), never finer than the frame's own. With those that are
/// dropped for blur alone, when `with_fills`.
[[nodiscard]] std::vector<SweepView> sweep_views(const FlightRecord&, double ground_px,
                                                 bool with_fills = false);

/// Nodes along a side of a tile, as small as that a few views show all of it.
[[nodiscard]] int usual_tile_side(const std::vector<SweepView>&);

/// Pictures of views: CV_8UC1, 0 where the frame shows nothing, 1..255 elsewhere.
class SweepPictures {
 public:
  SweepPictures(const FrameReader& reader, const FlightRecord& flight, const std::vector<SweepView>& views,
                std::int64_t budget_bytes)
      : reader_(reader), flight_(flight), views_(views), store_(budget_bytes) {}
  using Picture = PictureStore::Picture;
  /// Throws FrameFault when the file can no longer be read. Safe for use from several threads.
  [[nodiscard]] Picture of(int view);

 private:
  [[nodiscard]] Picture make(const SweepView&) const;
  const FrameReader& reader_;
  const FlightRecord& flight_;
  const std::vector<SweepView>& views_;
  PictureStore store_;  // by view
};

/// Views for one tile and the pairs of them that have base enough.
struct ViewChoice {
  std::vector<int> views;                  ///< indices
  std::vector<std::pair<int, int>> pairs;  ///< of positions in `views`
  std::vector<std::vector<int>> sides;     ///< positions of the views from the west, east, south and north
  double spread = 0;  ///< largest difference between the tangents of two lines of sight: parallax per height
};

/// `spots`: world points spread over the tile at about its height, a row or block of them. The straightest
/// view comes first; then those that see spots which few others see, from other directions; last those that
/// fill, for spots that fewer than two others see.
[[nodiscard]] ViewChoice choose_views(const std::vector<SweepView>&,
                                      const std::vector<Eigen::Vector3d>& spots);

}  // namespace lookdown::surface
