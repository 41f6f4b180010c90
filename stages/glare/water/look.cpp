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

const std::array<float, 256>& log_of_level() {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> logs{};
    std::transform(linear_of_level().begin(), linear_of_level().end(), logs.begin(),
                   [](float light) { return std::log(light + kFloor); });
    return logs;
  }();
  return table;
}

cv::Mat log_levels(const cv::Mat& levels) {
  cv::Mat out;
  cv::LUT(levels, cv::Mat(1, 256, CV_32FC1, const_cast<float*>(log_of_level().data())), out);
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

// Square of what lies between two scales.
cv::Mat square_between(const cv::Mat& level, double finer_px, double coarser_px) {
  cv::Mat finer, coarser;
  cv::GaussianBlur(level, finer, {0, 0}, finer_px);
  cv::GaussianBlur(level, coarser, {0, 0}, coarser_px);
  finer -= coarser;
  return finer.mul(finer);
}

// The same scale in a picture of half the size: the mean of two pixels has a spread of its own.
double half_size(double sigma_px) {
  constexpr double kOfMean = 0.25;  // (2^2 - 1) / 12 is the variance of two pixels, 1 / 12 that of one
  return std::sqrt(sigma_px * sigma_px - kOfMean) / 2;
}

}  // namespace

CalmColour colour_of(const cv::Mat& calm_bgr) {
  std::array<cv::Mat, 3> bgr;
  cv::split(log_levels(calm_bgr), bgr.data());
  return {log_levels(luma_of(calm_bgr)), bgr[2], bgr[2] - bgr[1], bgr[0] - bgr[1]};
}

cv::Mat darker_than_around(const WorkingPicture& picture) {
  const cv::Mat luma = luma_of(picture.bgr), calm_luma = luma_of(picture.calm_bgr);
  const std::array<float, 256>& logs = log_of_level();
  cv::Mat calm, darker(picture.calm_bgr.size(), CV_32FC1);
  cv::medianBlur(luma, calm, 5);
  for (int y = 0; y < darker.rows; ++y) {
    const uchar* of_grey = calm_luma.ptr<uchar>(y);
    float* out = darker.ptr<float>(y);
    for (int x = 0; x < darker.cols; ++x) {
      float sum = 0;
      for (int below = 0; below < 2; ++below)
        for (int beside = 0; beside < 2; ++beside) {
          const int row = std::min(2 * y + below, luma.rows - 1),
                    column = std::min(2 * x + beside, luma.cols - 1);
          sum += std::max(0.0f, logs[calm.at<uchar>(row, column)] - logs[luma.at<uchar>(row, column)]);
        }
      out[x] = 0.25f * sum * beyond_middle_grey()[of_grey[x]];
    }
  }
  return darker;
}

cv::Mat uneven_colour(const CalmColour& colour) {
  return cv::abs(blurred(colour.red_green, 0.7) - blurred(colour.red_green, 4));
}

SurfaceLook surface_look(const WorkingPicture& picture) {
  const CalmColour colour = colour_of(picture.calm_bgr);
  return {colour, lab_of(picture.calm_bgr), darker_than_around(picture), uneven_colour(colour)};
}

std::vector<Look> looks_of(const WorkingPicture& picture, const SurfaceLook& surface,
                           const Patches& patches) {
  constexpr double kFinePx = 0.7, kMiddlePx = 1.5, kCoarsePx = 3;
  const cv::Size size = picture.calm_bgr.size();
  const CalmColour& colour = surface.colour;
  cv::Mat level;
  luma_of(picture.bgr).convertTo(level, CV_32FC1);
  const cv::Mat half = halved(level);
  const cv::Mat finer = at_size(halved(square_between(level, kFinePx, kMiddlePx)), size),
                coarser = at_size(square_between(half, half_size(kMiddlePx), half_size(kCoarsePx)), size);
  const auto inside =
      patches.means_inside({surface.dark_detail, surface.uneven, finer, coarser, colour.luminance, colour.red,
                            colour.red_green, colour.blue_green});
  std::vector<Look> looks(patches.count());
  for (std::size_t i = 0; i < looks.size(); ++i) {
    for (std::size_t k = 0; k < kLookNumbers; ++k) looks[i][k] = inside[k][i];
    for (const std::size_t k : {0, 1}) looks[i][k] = std::log(looks[i][k] + kLeastUneven);
    for (const std::size_t k : {2, 3}) looks[i][k] = 0.5f * std::log(looks[i][k] + kLeastSquare);
  }
  return looks;
}

SeenPatches seen_patches(const WorkingPicture& picture, const SurfaceLook& surface) {
  SeenPatches seen{patches_of(surface.lab), {}};
  seen.looks = looks_of(picture, surface, seen.patches);
  return seen;
}

Look at_mean_exposure(Look look, double log_exposure) {
  constexpr double kLevelsExponent = 1 / 2.2;  // of stored levels over linear light, sRGB as one power
  for (const std::size_t detail : {2, 3}) look[detail] -= static_cast<float>(kLevelsExponent * log_exposure);
  for (const std::size_t light : {4, 5}) look[light] -= static_cast<float>(log_exposure);
  return look;
}

}  // namespace lookdown::glare
