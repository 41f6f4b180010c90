#include "stages/glare/water/shore.h"

#include <algorithm>

namespace lookdown::glare {
namespace {

constexpr int kBesidePx = 7;

// Distance in colour between what is marked and what is not around `at`.
float colour_step(const cv::Mat& lab, const cv::Mat& labels, const cv::Point& at) {
  cv::Vec3f within, beyond;
  int count_within = 0, count_beyond = 0;
  for (int y = std::max(at.y - kBesidePx, 0); y <= std::min(at.y + kBesidePx, lab.rows - 1); ++y) {
    const auto* colour = lab.ptr<cv::Vec3f>(y);
    const int* label = labels.ptr<int>(y);
    for (int x = std::max(at.x - kBesidePx, 0); x <= std::min(at.x + kBesidePx, lab.cols - 1); ++x)
      if (label[x])
        within += colour[x], ++count_within;
      else
        beyond += colour[x], ++count_beyond;
  }
  return static_cast<float>(
      cv::norm(within / std::max(count_within, 1) - beyond / std::max(count_beyond, 1)));
}

}  // namespace

std::vector<double> open_outline_shares(const cv::Mat& lab, const cv::Mat& labels, int count) {
  constexpr float kNoStep = 5;
  std::vector<double> outline(static_cast<std::size_t>(count), 0), open(outline);
  for (int y = 0; y < labels.rows; ++y) {
    const int *label = labels.ptr<int>(y), *above = labels.ptr<int>(std::max(y - 1, 0)),
              *below = labels.ptr<int>(std::min(y + 1, labels.rows - 1));
    for (int x = 0; x < labels.cols; ++x) {
      if (!label[x] ||
          (above[x] && below[x] && label[std::max(x - 1, 0)] && label[std::min(x + 1, labels.cols - 1)]))
        continue;
      ++outline[static_cast<std::size_t>(label[x])];
      open[static_cast<std::size_t>(label[x])] += colour_step(lab, labels, {x, y}) < kNoStep;
    }
  }
  for (std::size_t i = 0; i < open.size(); ++i) open[i] /= std::max(outline[i], 1.0);
  return open;
}

}  // namespace lookdown::glare
