#include "tests/bench/level/other_light.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/imaging/colour/srgb.h"

namespace lookdown::level {
namespace {

/// Gains of blue, green, red: evening light, shade and dusk, or as it was.
cv::Vec3f tint(cv::RNG& random) {
  const double kind = random.uniform(0.0, 1.0);
  if (kind < 0.3) return {1, 1, 1};
  if (kind < 0.5) return {1.1F, 0.85F, 0.7F};
  const auto warm = static_cast<float>(random.uniform(0.0, 1.0));
  return {1 - 0.5F * warm, 1, 1 + 0.6F * warm};
}

cv::Mat3f light_of(const cv::Mat3b& bgr) {
  cv::Mat1f curve(1, 256);
  for (int v = 0; v < 256; ++v) curve(v) = static_cast<float>(light_from_srgb(v / 255.0));
  cv::Mat3f light;
  cv::LUT(bgr, curve, light);
  return light;
}

/// A third stays as it is, a third is out of focus (Gaussian), a third smeared along a line; what is
/// symmetric leaves edges where they were.
void blur(cv::Mat3f& light, cv::RNG& random) {
  const double long_side = std::max(light.cols, light.rows);
  const int kind = random.uniform(0, 3);
  if (kind == 1) cv::GaussianBlur(light, light, {}, random.uniform(0.001, 0.005) * long_side);
  if (kind != 2) return;
  const int half = std::max(1, cvRound(random.uniform(0.002, 0.015) * long_side));
  const double angle = random.uniform(0.0, CV_PI);
  cv::Mat1f smear(2 * half + 1, 2 * half + 1, 0.F);
  const cv::Point along(cvRound(half * std::cos(angle)), cvRound(half * std::sin(angle))), middle(half, half);
  cv::line(smear, middle - along, middle + along, 1, 1, cv::LINE_8);
  cv::filter2D(light, light, -1, smear / cv::sum(smear)[0]);
}

}  // namespace

cv::Mat3b other_light(const cv::Mat3b& bgr, cv::RNG& random) {
  cv::Mat3f light = light_of(bgr);
  const cv::Vec3f gain = tint(random) * static_cast<float>(std::exp2(random.uniform(-4.0, 0.3)));
  blur(light, random);
  const double noise = random.uniform(0.002, 0.02);
  cv::Mat3b coded(bgr.size());
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x)
      for (int c = 0; c < 3; ++c) {
        const double value = srgb_from_light(std::clamp(light(y, x)[c] * gain[c], 0.F, 1.F));
        coded(y, x)[c] = cv::saturate_cast<uchar>(255 * (value + random.gaussian(noise)));
      }
  std::vector<uchar> file;
  cv::imencode(".jpg", coded, file, {cv::IMWRITE_JPEG_QUALITY, random.uniform(70, 96)});
  return cv::imdecode(file, cv::IMREAD_COLOR);
}

}  // namespace lookdown::level
