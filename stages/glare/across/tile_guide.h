// Values of tiles spread over the pixels of a picture. Private to the stage.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::glare {

/// Spreads values of tiles within surfaces of one colour and stops at their edges: the guided filter with a
/// colour guide, its coefficients from tiles and applied to the picture (He, Sun & Tang, IEEE PAMI 35:1397,
/// 2013; He & Sun, "Fast guided filter", arXiv:1505.00996, 2015).
class TileGuide {
 public:
  TileGuide(const cv::Mat& bgr, cv::Size tiles);
  /// `values`: CV_32FC1, one a tile; the answer has the size of `bgr`.
  [[nodiscard]] cv::Mat spread(const cv::Mat& values) const;

 private:
  cv::Size tiles_, size_;
  cv::Mat fine_;                          // CV_32FC3, 0..1
  std::array<cv::Mat, 3> coarse_, mean_;  // of tiles, by colour
  std::vector<cv::Matx33f> inverse_;      // of each tile's covariance
};

}  // namespace lookdown::glare
