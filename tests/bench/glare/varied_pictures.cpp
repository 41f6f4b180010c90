#include "varied_pictures.h"

#include <array>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>
#include <vector>

namespace scoring {
namespace {

class Lot {
 public:
  explicit Lot(std::uint32_t seed) : engine_(seed) {}
  // The standard's distributions differ between libraries; this does not.
  double between(double low, double high) { return low + (high - low) * (engine_() / 4294967296.0); }

 private:
  std::mt19937 engine_;
};

cv::Rect part_of(const cv::Size& size, Lot& lot) {
  const double share = lot.between(0.45, 1);
  const int width = static_cast<int>(size.width * share), height = static_cast<int>(size.height * share);
  const int left = static_cast<int>(lot.between(0, size.width - width)),
            top = static_cast<int>(lot.between(0, size.height - height));
  return {left, top, width, height};
}

// Light, colour of the light and steepness of the tone curve.
cv::Mat in_other_light(const cv::Mat& bgr, Lot& lot) {
  constexpr double kGamma = 2.2;
  const double light = lot.between(-0.8, 0.6), red = lot.between(-0.25, 0.25), blue = lot.between(-0.3, 0.3),
               steepness = std::exp(lot.between(-0.15, 0.3));
  const std::array<double, 3> gains{light + blue, light, light + red};
  cv::Mat levels(1, 256, CV_8UC3), out;
  for (int level = 0; level < 256; ++level)
    for (std::size_t c = 0; c < 3; ++c) {
      const double linear = std::pow(level / 255.0, kGamma) * std::exp(gains[c]);
      levels.at<cv::Vec3b>(0, level)[static_cast<int>(c)] =
          cv::saturate_cast<uchar>(255 * std::pow(std::min(1.0, std::pow(linear, steepness)), 1 / kGamma));
    }
  cv::LUT(bgr, levels, out);
  return out;
}

void add_noise(cv::Mat& bgr, Lot& lot, std::uint32_t seed) {
  constexpr double kMostLevels = 3;
  cv::Mat noise(bgr.size(), CV_32FC3), level;
  cv::RNG(seed).fill(noise, cv::RNG::NORMAL, 0, lot.between(0, kMostLevels));
  bgr.convertTo(level, CV_32FC3);
  cv::Mat(level + noise).convertTo(bgr, CV_8UC3);
}

}  // namespace

VariedPicture varied(const cv::Mat& bgr, const cv::Mat& water, std::uint32_t seed) {
  constexpr double kMostSoftPx = 1.2, kLeastSoftPx = 0.3;
  Lot lot(seed);
  const cv::Rect part = part_of(bgr.size(), lot);
  const int width = lot.between(0, 1) < 0.5 ? 1024 : 800;
  const cv::Size size(width, width * part.height / part.width);
  VariedPicture picture;
  cv::resize(bgr(part), picture.bgr, size, 0, 0, part.width < width ? cv::INTER_LINEAR : cv::INTER_AREA);
  cv::resize(water(part), picture.water, size, 0, 0, cv::INTER_AREA);
  if (const double soft_px = lot.between(0, kMostSoftPx); soft_px > kLeastSoftPx)
    cv::GaussianBlur(picture.bgr, picture.bgr, {0, 0}, soft_px);
  picture.bgr = in_other_light(picture.bgr, lot);
  add_noise(picture.bgr, lot, seed);
  std::vector<uchar> bytes;
  cv::imencode(".jpg", picture.bgr, bytes, {cv::IMWRITE_JPEG_QUALITY, static_cast<int>(lot.between(60, 95))});
  picture.bgr = cv::imdecode(bytes, cv::IMREAD_COLOR);
  return picture;
}

}  // namespace scoring
