#include "stages/mosaic/output/clean_picture.h"

#include <vector>

namespace lookdown::mosaic {
namespace {

constexpr uchar kCovered = 255;

/// The largest rectangle under the columns of a histogram, by the stack of columns that still rise (common
/// method).
cv::Rect largest_below(const std::vector<int>& heights, int bottom) {
  cv::Rect best;
  std::vector<int> rising;
  const int count = static_cast<int>(heights.size());
  for (int column = 0; column <= count; ++column) {
    const int height = column < count ? heights[column] : 0;
    while (!rising.empty() && heights[rising.back()] >= height) {
      const int high = heights[rising.back()];
      rising.pop_back();
      const int left = rising.empty() ? 0 : rising.back() + 1;
      const cv::Rect found(left, bottom - high + 1, column - left, high);
      if (found.area() > best.area()) best = found;
    }
    rising.push_back(column);
  }
  return best;
}

}  // namespace

cv::Rect largest_covered_rectangle(const cv::Mat& alpha) {
  cv::Rect best;
  std::vector<int> heights(static_cast<std::size_t>(alpha.cols), 0);
  for (int row = 0; row < alpha.rows; ++row) {
    for (int column = 0; column < alpha.cols; ++column)
      heights[column] = alpha.at<uchar>(row, column) == kCovered ? heights[column] + 1 : 0;
    const cv::Rect found = largest_below(heights, row);
    if (found.area() > best.area()) best = found;
  }
  return best;
}

}  // namespace lookdown::mosaic
