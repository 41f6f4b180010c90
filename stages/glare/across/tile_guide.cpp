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
  cv::Mat guide;
  bgr.convertTo(guide, CV_32FC3, 1 / 255.0);
  cv::split(guide, fine_.data());
  for (int c = 0; c < 3; ++c) {
    cv::resize(fine_[c], coarse_[c], tiles, 0, 0, cv::INTER_AREA);
    mean_[c] = around(coarse_[c]);
  }
  for (int a = 0; a < 3; ++a)
    for (int b = a; b < 3; ++b)
      covariance_[a][b] = around(coarse_[a].mul(coarse_[b])) - mean_[a].mul(mean_[b]);
}

cv::Mat TileGuide::spread(const cv::Mat& values) const {
  constexpr float kEvenness = 0.0015f;  // variance of colour that is no edge: (0.04 of white)^2
  const cv::Mat mean = around(values);
  std::array<cv::Mat, 3> with, slope;
  for (int c = 0; c < 3; ++c) {
    with[c] = around(values.mul(coarse_[c])) - mean.mul(mean_[c]);
    slope[c].create(tiles_, CV_32FC1);
  }
  cv::Mat offset = mean.clone();
  for (int y = 0; y < tiles_.height; ++y)
    for (int x = 0; x < tiles_.width; ++x) {
      const auto s = [&](int a, int b) { return covariance_[a][b].at<float>(y, x); };
      const cv::Matx33f m(s(0, 0) + kEvenness, s(0, 1), s(0, 2), s(0, 1), s(1, 1) + kEvenness, s(1, 2),
                          s(0, 2), s(1, 2), s(2, 2) + kEvenness);
      const cv::Vec3f a =
          m.inv() * cv::Vec3f(with[0].at<float>(y, x), with[1].at<float>(y, x), with[2].at<float>(y, x));
      for (int c = 0; c < 3; ++c) {
        slope[c].at<float>(y, x) = a[c];
        offset.at<float>(y, x) -= a[c] * mean_[c].at<float>(y, x);
      }
    }
  cv::Mat out = enlarged(around(offset));
  for (int c = 0; c < 3; ++c) out += enlarged(around(slope[c])).mul(fine_[c]);
  return out;
}

cv::Mat TileGuide::enlarged(const cv::Mat& plane) const {
  cv::Mat out;
  cv::resize(plane, out, size_, 0, 0, cv::INTER_LINEAR);
  return out;
}

}  // namespace lookdown::glare
