// Joining pictures in frequency bands: Burt & Adelson, "A multiresolution spline with application to image
// mosaics", ACM Trans. Graphics 2(4):217-236 (1983). Fine detail changes over a few pixels, broad tones over
// many, so that neither shows a seam.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::mosaic {

/// Number of halvings. The broadest band changes over about 2^kBands pixels on each side of a seam.
inline constexpr int kBands = 5;
/// Pixels round a tile that can change its result.
inline constexpr int kBlendMargin = 128;

/// Sums pictures band by band. The masks of all pictures added must sum to 1 at every pixel; then a place
/// where one mask is 1 throughout the margin shows that picture unchanged.
class BandBlend {
 public:
  /// `size` must be a multiple of 2^kBands in both directions.
  explicit BandBlend(cv::Size size);
  /// `picture` CV_32FC3 and `mask` CV_32FC1 (0..1), both of `where`'s size; the mask is 0 outside `where`,
  /// which lies in the blend with corners at multiples of 2^kBands.
  void add(const cv::Mat& picture, const cv::Mat& mask, const cv::Rect& where);
  /// CV_32FC3.
  [[nodiscard]] cv::Mat result() const;

 private:
  std::vector<cv::Mat> bands_;
};

}  // namespace lookdown::mosaic
