#include "stages/glare/water/look.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/picture/plane_math.h"

namespace lookdown::glare {
namespace {

// Linear light added before a logarithm is taken: about two levels of 8 bits near black.
constexpr float kFloor = 0.006f;
// Of unevenness (logarithm), and of squared stored levels: below lies what rounding makes.
constexpr float kLeastUneven = 0.002f, kLeastSquare = 0.03f;

cv::Mat log_levels(const cv::Mat& levels) {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> logs{};
    std::transform(linear_of_level().begin(), linear_of_level().end(), logs.begin(),
                   [](float light) { return std::log(light + kFloor); });
    return logs;
  }();
  cv::Mat out;
  cv::LUT(levels, cv::Mat(1, 256, CV_32FC1, const_cast<float*>(table.data())), out);
  return out;
}

// How much brighter than a middle grey a stored level is as stored, at least 1.
const std::array<float, 256>& beyond_middle_grey() {
  constexpr float kMiddleGrey = 104;  // stored level; 0.14 of white, the luminance that water seldom exceeds
  static const std::array<float, 256> table = [] {
    std::array<float, 256> factors{};
    for (std::size_t level = 0; level < factors.size(); ++level)
      factors[level] = std::max(1.0f, static_cast<float>(level) / kMiddleGrey);
    return factors;
  }();
  return table;
}

// Mean square of what lies between two scales, squared stored levels, half the working size.
cv::Mat square_between(const cv::Mat& finer, const cv::Mat& coarser) {
  cv::Mat band;
  cv::subtract(finer, coarser, band, {}, CV_32FC1);
  return halved(band.mul(band));
}

}  // namespace

CalmColour colour_of(const cv::Mat& calm_bgr) {
  std::array<cv::Mat, 3> bgr;
  cv::split(log_levels(calm_bgr), bgr.data());
  return {log_levels(luma_of(calm_bgr)), bgr[2], bgr[2] - bgr[1], bgr[0] - bgr[1]};
}

cv::Mat darker_than_around(const WorkingPicture& picture) {
  const cv::Mat luma = luma_of(picture.bgr);
  cv::Mat calm, beyond_grey;
  cv::medianBlur(luma, calm, 5);
  cv::LUT(luma_of(picture.calm_bgr),
          cv::Mat(1, 256, CV_32FC1, const_cast<float*>(beyond_middle_grey().data())), beyond_grey);
  return at_size(halved(cv::max(log_levels(calm) - log_levels(luma), 0)), beyond_grey.size())
      .mul(beyond_grey);
}

cv::Mat uneven_colour(const CalmColour& colour) {
  return cv::abs(blurred(colour.red_green, 0.7) - blurred(colour.red_green, 4));
}

std::vector<Look> looks_of(const WorkingPicture& picture, const Patches& patches) {
  constexpr double kFinePx = 0.7, kMiddlePx = 1.5, kCoarsePx = 3;
  const cv::Size size = picture.calm_bgr.size();
  const CalmColour colour = colour_of(picture.calm_bgr);
  cv::Mat level;
  luma_of(picture.bgr).convertTo(level, CV_32FC1);
  cv::Mat fine, middle, coarse;
  cv::GaussianBlur(level, fine, {0, 0}, kFinePx);
  cv::GaussianBlur(level, middle, {0, 0}, kMiddlePx);
  cv::GaussianBlur(level, coarse, {0, 0}, kCoarsePx);
  const auto inside = [&](const cv::Mat& plane) { return patches.means_inside(at_size(plane, size)); };
  const std::vector<float> dark = inside(darker_than_around(picture)), uneven = inside(uneven_colour(colour)),
                           finer = inside(square_between(fine, middle)),
                           coarser = inside(square_between(middle, coarse)),
                           luminance = inside(colour.luminance), red = inside(colour.red),
                           red_green = inside(colour.red_green), blue_green = inside(colour.blue_green);
  std::vector<Look> looks(patches.count());
  for (std::size_t i = 0; i < looks.size(); ++i)
    looks[i] = {std::log(dark[i] + kLeastUneven),
                std::log(uneven[i] + kLeastUneven),
                0.5f * std::log(finer[i] + kLeastSquare),
                0.5f * std::log(coarser[i] + kLeastSquare),
                luminance[i],
                red[i],
                red_green[i],
                blue_green[i]};
  return looks;
}

Look at_mean_exposure(Look look, double log_exposure) {
  constexpr double kLevelsExponent = 1 / 2.2;  // of stored levels over linear light, sRGB as one power
  for (const std::size_t detail : {2, 3}) look[detail] -= static_cast<float>(kLevelsExponent * log_exposure);
  for (const std::size_t light : {4, 5}) look[light] -= static_cast<float>(log_exposure);
  return look;
}

}  // namespace lookdown::glare
