#include "stages/glare/picture/working_picture.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::glare {
namespace {

constexpr int kCalmPx = 5;  // of the median, in half-size pixels: takes out what is narrower than about 5 px

// Brightest level of each block: a glint of one pixel keeps its level however much the frame is reduced.
cv::Mat brightest_of_blocks(const cv::Mat& luma, cv::Size size) {
  if (luma.size() == size) return luma;
  const auto edge = [](int index, int from, int to) {
    return static_cast<int>(std::int64_t{index} * to / from);
  };
  std::vector<int> left;
  for (int x = 0; x <= size.width; ++x) left.push_back(edge(x, size.width, luma.cols));
  cv::Mat most(size, CV_8UC1), row(1, luma.cols, CV_8UC1);
  for (int y = 0; y < size.height; ++y) {
    const int top = edge(y, size.height, luma.rows),
              bottom = std::max(top + 1, edge(y + 1, size.height, luma.rows));
    luma.row(top).copyTo(row);
    for (int k = top + 1; k < bottom; ++k) cv::max(row, luma.row(k), row);
    const uchar* in = row.ptr<uchar>();
    uchar* out = most.ptr<uchar>(y);
    for (std::size_t x = 0; x + 1 < left.size(); ++x)
      out[x] = *std::max_element(in + left[x], in + std::max(left[x] + 1, left[x + 1]));
  }
  return most;
}

}  // namespace

cv::Size working_size(cv::Size size) {
  const int longer = std::max(size.width, size.height);
  if (longer <= kWorkingLongSidePx) return size;
  const double factor = static_cast<double>(kWorkingLongSidePx) / longer;
  return {std::max(1, static_cast<int>(std::lround(size.width * factor))),
          std::max(1, static_cast<int>(std::lround(size.height * factor)))};
}

const std::array<float, 256>& linear_of_level() {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> linear{};
    for (int level = 0; level < 256; ++level) {
      const double v = level / 255.0;
      linear[static_cast<std::size_t>(level)] =
          static_cast<float>(v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
    }
    return linear;
  }();
  return table;
}

cv::Mat stored_level(const cv::Mat& luminance) {
  // Inverse of the table by a finer table: 4096 steps of the square root keep dark levels apart.
  static const std::array<uchar, 4096> level_of_root = [] {
    std::array<uchar, 4096> table{};
    const auto& linear = linear_of_level();
    for (std::size_t i = 0; i < table.size(); ++i) {
      const float root = static_cast<float>(i) / 4095;
      table[i] = static_cast<uchar>(std::min<std::ptrdiff_t>(
          255, std::upper_bound(linear.begin(), linear.end(), root * root) - linear.begin()));
    }
    return table;
  }();
  cv::Mat root, level(luminance.size(), CV_8UC1);
  cv::sqrt(cv::max(luminance, 0), root);
  for (int y = 0; y < level.rows; ++y) {
    const float* in = root.ptr<float>(y);
    uchar* out = level.ptr<uchar>(y);
    for (int x = 0; x < level.cols; ++x)
      out[x] = level_of_root[static_cast<std::size_t>(std::min(4095.0f, in[x] * 4095))];
  }
  return level;
}

cv::Mat luminance_of(const cv::Mat& luma) {
  cv::Mat luminance;
  cv::LUT(luma, cv::Mat(1, 256, CV_32FC1, const_cast<float*>(linear_of_level().data())), luminance);
  return luminance;
}

cv::Mat luma_of(const cv::Mat& bgr) {
  cv::Mat luma;
  cv::cvtColor(bgr, luma, cv::COLOR_BGR2GRAY);
  return luma;
}

WorkingPicture prepare_look(const cv::Mat& bgr, cv::Size frame) {
  WorkingPicture picture;
  const cv::Size size = working_size(frame);
  if (bgr.size() == size)
    picture.bgr = bgr;
  else
    cv::resize(bgr, picture.bgr, size, 0, 0, cv::INTER_AREA);
  cv::Mat half;
  cv::resize(picture.bgr, half, {std::max(1, size.width / 2), std::max(1, size.height / 2)}, 0, 0,
             cv::INTER_AREA);
  cv::medianBlur(half, picture.calm_bgr, kCalmPx);
  return picture;
}

WorkingPicture prepare(const cv::Mat& bgr, const cv::Mat& luma) {
  const cv::Mat full = luma.empty() ? luma_of(bgr) : luma;
  WorkingPicture picture = prepare_look(bgr, full.size());
  picture.peak = brightest_of_blocks(full, picture.bgr.size());
  return picture;
}

}  // namespace lookdown::glare
