// A picture in small patches that end where its colour changes, and the outline that runs along their
// borders. Private to the stage (and its tests).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::glare {

/// Of most patches.
inline constexpr int kPatchPx = 8;  // as small as a rim and as large as what detail is told of
inline constexpr float kPatchAreaPx = kPatchPx * kPatchPx;

/// Where two patches touch.
struct PatchBorder {
  int first = 0, second = 0;  ///< numbers of the patches, first < second
  float length_px = 0;
  float contrast = 0;  ///< mean change of colour along it, CIE L*a*b* units a pixel
};

struct Patches {
  cv::Mat labels;              ///< CV_16UC1: number of each pixel's patch, from 0
  std::vector<float> area_px;  ///< of each patch
  std::vector<PatchBorder> borders;
  [[nodiscard]] std::size_t count() const { return area_px.size(); }
  /// Mean of each plane (CV_32FC1, size of the labels) in each patch, away from its border as far as it is
  /// wide enough: what lies on a shore is of neither side.
  [[nodiscard]] std::vector<std::vector<float>> means_inside(const std::vector<cv::Mat>& planes) const;
};

/// Watershed of the colour's gradient from the flattest pixel of each cell of a square grid of 8 px
/// ("waterpixels": Machairas et al., IEEE Trans. Image Processing 24:3707, 2015). `lab`: CIE L*a*b*,
/// CV_32FC3.
[[nodiscard]] Patches patches_of(const cv::Mat& lab);

/// The patches that are marked when log-odds and outline are weighed against each other (CV_8UC1, 255): the
/// minimum cut of the patches' graph, in which an outline costs least where the colour changes most (Boykov &
/// Jolly, ICCV 2001). `log_odds`: one a patch.
[[nodiscard]] cv::Mat cut_along_borders(const Patches&, const std::vector<float>& log_odds);

}  // namespace lookdown::glare
