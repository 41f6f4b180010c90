#include "stages/surface/gap_filling.h"

#include <opencv2/imgproc.hpp>

namespace lookdown::surface {
namespace {

constexpr int kNarrowGap = 16;  ///< places from each side

/// Smooth filling by coarser and coarser means (push and pull): Gortler et al., "The lumigraph", SIGGRAPH
/// 1996, sec. 3.4.
void fill_smoothly(cv::Mat& heights, cv::Mat& weight) {
  if (heights.rows <= 2 || heights.cols <= 2) {
    const double sum = cv::sum(weight)[0];
    const double mean = sum > 0 ? cv::sum(heights.mul(weight))[0] / sum : 0;
    heights.setTo(mean, weight == 0);
    return;
  }
  const cv::Size half((heights.cols + 1) / 2, (heights.rows + 1) / 2);
  cv::Mat weighted, coarse, coarse_weight, finer;
  cv::resize(heights.mul(weight), weighted, half, 0, 0, cv::INTER_AREA);
  cv::resize(weight, coarse_weight, half, 0, 0, cv::INTER_AREA);
  coarse = weighted / cv::max(coarse_weight, 1e-6F);
  coarse.setTo(0, coarse_weight < 1e-6F);
  cv::Mat known = coarse_weight >= 1e-6F;
  coarse_weight.setTo(0);
  coarse_weight.setTo(1, known);
  fill_smoothly(coarse, coarse_weight);
  cv::resize(coarse, finer, heights.size(), 0, 0, cv::INTER_LINEAR);
  finer.copyTo(heights, weight == 0);
}

}  // namespace

namespace {

constexpr float kUnreached = 1e30F;

/// Narrow gaps filled from both sides, at walls from the lower one. `gap` becomes 255 there.
cv::Mat filled_from_below(const cv::Mat& heights, const cv::Mat& known, double wall, cv::Mat& gap) {
  cv::Mat low = heights.clone(), filled = known.clone(), around, reached;
  low.setTo(kUnreached, known == 0);
  for (int step = 0; step < kNarrowGap; ++step) {
    cv::erode(low, around, cv::Mat());
    cv::dilate(filled, reached, cv::Mat());
    around.copyTo(low, reached & ~filled);
    reached.copyTo(filled);
  }
  // Only what both sides have reached is a narrow gap.
  constexpr int kSide = 2 * kNarrowGap + 1;
  cv::erode(filled, filled, cv::getStructuringElement(cv::MORPH_RECT, {kSide, kSide}), {-1, -1}, 1,
            cv::BORDER_CONSTANT, cv::Scalar(255));
  gap = filled & ~known;
  // What has grown from both sides meets in the middle: the lower side goes on to the wall's foot.
  for (int step = 0; step < kNarrowGap; ++step) {
    cv::erode(low, around, cv::Mat());
    around.copyTo(low, (low - around > wall) & gap);
  }
  return low;
}

/// 255 where heights that are known near by differ by more than `wall`.
cv::Mat near_walls(const cv::Mat& heights, const cv::Mat& known, double wall) {
  const cv::Mat window = cv::getStructuringElement(cv::MORPH_RECT, {2 * kNarrowGap + 1, 2 * kNarrowGap + 1});
  cv::Mat low = heights.clone(), high = heights.clone();
  low.setTo(kUnreached, known == 0);
  high.setTo(-kUnreached, known == 0);
  cv::erode(low, low, window);
  cv::dilate(high, high, window);
  return (high - low > wall) & (high > -kUnreached);
}

}  // namespace

void fill_gaps(cv::Mat& heights, const cv::Mat& known, double wall) {
  heights.setTo(0, known == 0);
  cv::Mat gap;
  const cv::Mat low = filled_from_below(heights, known, wall, gap);
  gap &= near_walls(heights, known, wall);
  low.copyTo(heights, gap);
  cv::Mat weight;
  cv::Mat(known | gap).convertTo(weight, CV_32F, 1.0 / 255);
  cv::threshold(weight, weight, 0.5, 1, cv::THRESH_BINARY);
  fill_smoothly(heights, weight);
}

}  // namespace lookdown::surface
