#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {
namespace {

// sRGB transfer curve, IEC 61966-2-1.
std::array<float, 256> linear_from_srgb() {
  std::array<float, 256> table{};
  for (int level = 0; level < 256; ++level) {
    const double v = level / 255.0;
    table[level] = static_cast<float>(v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
  }
  return table;
}

cv::Mat to_linear(const cv::Mat& bgr) {
  static const std::array<float, 256> table = linear_from_srgb();
  cv::Mat linear(bgr.size(), CV_32FC3);
  for (int y = 0; y < bgr.rows; ++y) {
    const auto* in = bgr.ptr<cv::Vec3b>(y);
    auto* out = linear.ptr<cv::Vec3f>(y);
    for (int x = 0; x < bgr.cols; ++x) out[x] = {table[in[x][0]], table[in[x][1]], table[in[x][2]]};
  }
  return linear;
}

cv::Mat luminance(const cv::Mat& linear) {
  cv::Mat light;
  cv::transform(linear, light, cv::Matx13f(0.0722f, 0.7152f, 0.2126f));
  return light;
}

}  // namespace

cv::Mat light_of(const cv::Mat& bgr) {
  return luminance(to_linear(bgr));
}

WorkingPicture prepare(const cv::Mat& bgr) {
  WorkingPicture picture;
  const int long_side = std::max(bgr.cols, bgr.rows);
  if (long_side > kWorkingLongSidePx) {
    const double factor = static_cast<double>(kWorkingLongSidePx) / long_side;
    cv::resize(bgr, picture.bgr, {}, factor, factor, cv::INTER_AREA);
  } else {
    picture.bgr = bgr;
  }
  picture.linear = to_linear(picture.bgr);
  picture.light = luminance(picture.linear);
  // Glitter is specks of a few pixels: an opening with a disc of 7 px takes them out and leaves the surface
  // below.
  const cv::Mat disc = cv::getStructuringElement(cv::MORPH_ELLIPSE, {7, 7});
  cv::Mat calm;
  cv::morphologyEx(picture.bgr, calm, cv::MORPH_OPEN, disc);
  picture.calm_bgr = to_linear(calm);
  picture.calm_light = luminance(picture.calm_bgr);
  return picture;
}

}  // namespace lookdown::glare
