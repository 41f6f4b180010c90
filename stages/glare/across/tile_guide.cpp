#include "stages/glare/across/tile_guide.h"

#include <opencv2/imgproc.hpp>

namespace lookdown::glare {
namespace {

cv::Mat around(const cv::Mat& plane) {
  constexpr int kTiles = 5;
  cv::Mat out;
  cv::blur(plane, out, {kTiles, kTiles}, {-1, -1}, cv::BORDER_REFLECT);
  return out;
}

}  // namespace

TileGuide::TileGuide(const cv::Mat& bgr, cv::Size tiles) : tiles_(tiles), size_(bgr.size()) {
  constexpr float kEvenness = 0.0015f;  // variance of colour that is no edge: (0.04 of white)^2
  bgr.convertTo(fine_, CV_32FC3, 1 / 255.0);
  cv::Mat small;
  cv::resize(fine_, small, tiles, 0, 0, cv::INTER_AREA);
  cv::split(small, coarse_.data());
  for (std::size_t c = 0; c < 3; ++c) mean_[c] = around(coarse_[c]);
  std::array<std::array<cv::Mat, 3>, 3> covariance;
  for (std::size_t a = 0; a < 3; ++a)
    for (std::size_t b = a; b < 3; ++b)
      covariance[a][b] = around(coarse_[a].mul(coarse_[b])) - mean_[a].mul(mean_[b]);
  for (int y = 0; y < tiles.height; ++y)
    for (int x = 0; x < tiles.width; ++x) {
      const auto s = [&](std::size_t a, std::size_t b) { return covariance[a][b].at<float>(y, x); };
      inverse_.push_back(cv::Matx33f(s(0, 0) + kEvenness, s(0, 1), s(0, 2), s(0, 1), s(1, 1) + kEvenness,
                                     s(1, 2), s(0, 2), s(1, 2), s(2, 2) + kEvenness)
                             .inv());
    }
}

cv::Mat TileGuide::spread(const cv::Mat& values) const {
  const cv::Mat mean = around(values);
  std::array<cv::Mat, 3> with;
  for (std::size_t c = 0; c < 3; ++c) with[c] = around(values.mul(coarse_[c])) - mean.mul(mean_[c]);
  cv::Mat line(tiles_, CV_32FC4);  // slopes over the three colours, and offset
  std::size_t tile = 0;
  for (int y = 0; y < tiles_.height; ++y)
    for (int x = 0; x < tiles_.width; ++x, ++tile) {
      const cv::Vec3f slope = inverse_[tile] * cv::Vec3f(with[0].at<float>(y, x), with[1].at<float>(y, x),
                                                         with[2].at<float>(y, x));
      float offset = mean.at<float>(y, x);
      for (int c = 0; c < 3; ++c) offset -= slope[c] * mean_[static_cast<std::size_t>(c)].at<float>(y, x);
      line.at<cv::Vec4f>(y, x) = {slope[0], slope[1], slope[2], offset};
    }
  cv::resize(around(line), line, size_, 0, 0, cv::INTER_LINEAR);
  cv::Mat out(size_, CV_32FC1);
  for (int y = 0; y < out.rows; ++y) {
    const auto* of_line = line.ptr<cv::Vec4f>(y);
    const auto* colour = fine_.ptr<cv::Vec3f>(y);
    float* to = out.ptr<float>(y);
    for (int x = 0; x < out.cols; ++x)
      to[x] = of_line[x][3] + of_line[x][0] * colour[x][0] + of_line[x][1] * colour[x][1] +
              of_line[x][2] * colour[x][2];
  }
  return out;
}

}  // namespace lookdown::glare
