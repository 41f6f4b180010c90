#include "stages/glare/glint/glitter_field.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <opencv2/core.hpp>
#include <vector>

#include "stages/glare/glint/glitter_tiles.h"

namespace lookdown::glare {
namespace {

const cv::Size kPondHalf(320, 240);
constexpr int kCrustLeft = 160, kLandLeft = 192, kCalmTop = 128;  // columns from left, rows from the top

// A pond that glitters in its upper part, white crust along all of it, and land.
enum class Kind : std::uint8_t { glitter, water, crust, land };
Kind kind_at(int x, int y) {
  if (x >= kLandLeft) return Kind::land;
  if (x >= kCrustLeft) return Kind::crust;
  return y < kCalmTop ? Kind::glitter : Kind::water;
}

Patches patches_of_pond() {
  cv::Mat lab(kPondHalf, CV_32FC3);
  for (int y = 0; y < lab.rows; ++y)
    for (int x = 0; x < lab.cols; ++x)
      lab.at<cv::Vec3f>(y, x) = std::vector<cv::Vec3f>{
          {60, 0, 0}, {30, 10, 10}, {95, 0, 0}, {40, -30, 30}}[static_cast<std::size_t>(kind_at(x, y))];
  return patches_of(lab);
}

// White crust and white glitter differ in how much detail they have.
std::vector<Look> looks_of_pond(const Patches& patches) {
  cv::RNG random(3);
  std::vector<Look> looks(patches.count());
  for (int y = 0; y < kPondHalf.height; ++y)
    for (int x = 0; x < kPondHalf.width; ++x) {
      Look& look = looks[patches.labels.at<std::uint16_t>(y, x)];
      const auto kind = static_cast<std::size_t>(kind_at(x, y));
      look.fill(0);
      look[2] = std::vector<float>{3, 0, 1, 2}[kind];
      look[4] = std::vector<float>{-1, -3, -0.3f, -2}[kind];
      for (float& number : look) number += static_cast<float>(random.gaussian(0.2));
    }
  return looks;
}

// Which takes for glitter what is beside it as well.
UsualLook usual_look_of_pond() {
  const cv::Size grid(kPondHalf.width / kGlitterTilePx, kPondHalf.height / kGlitterTilePx);
  UsualLook usual;
  for (cv::Mat* plane : {&usual.tiles.luminance, &usual.tiles.red_green, &usual.tiles.blue_green,
                         &usual.tiles.contrast, &usual.tiles.neutral})
    *plane = cv::Mat::zeros(grid, CV_32FC1);
  usual.tiles.dense = cv::Mat::zeros(grid, CV_8UC1);
  usual.glitter = cv::Mat::zeros(grid, CV_32FC1);
  usual.glitter(cv::Rect(0, 0, kCrustLeft / kGlitterTilePx, kCalmTop / kGlitterTilePx)) = 0.95f;
  usual.glitter(cv::Rect(kCrustLeft / kGlitterTilePx, 0, (kLandLeft - kCrustLeft) / kGlitterTilePx,
                         kCalmTop / kGlitterTilePx)) = 0.6f;
  usual.water = cv::Mat(kPondHalf, CV_32FC1, cv::Scalar(-3));
  usual.water.colRange(0, kLandLeft) = 1;
  return usual;
}

TEST(GlitterField, LeavesOutWhatElsewhereInTheFrameIsLand) {
  const Patches patches = patches_of_pond();
  cv::Mat water = cv::Mat::zeros(kPondHalf, CV_8UC1);
  water(cv::Rect(0, kCalmTop, kCrustLeft, kPondHalf.height - kCalmTop)) = 255;
  const cv::Mat field = glitter_field(
      usual_look_of_pond(), patches, [&] { return looks_of_pond(patches); }, water,
      cv::Mat::zeros(kPondHalf, CV_8UC1));
  const cv::Rect glitter(0, 0, kCrustLeft - 8, kCalmTop - 8),
      crust(kCrustLeft + 4, 0, kLandLeft - kCrustLeft - 8, kCalmTop - 8);
  EXPECT_GT(cv::countNonZero(field(glitter)), 0.95 * glitter.area());
  EXPECT_LT(cv::countNonZero(field(crust)), 0.05 * crust.area());
}

}  // namespace
}  // namespace lookdown::glare
