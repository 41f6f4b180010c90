#include "stages/cull/spectrum/tile_transform.h"

#include <gtest/gtest.h>

#include <cmath>

#include "stages/cull/spectrum/log_periodogram.h"

namespace lookdown::cull {
namespace {

// OpenCV's discrete Fourier transform, complex output, is the reference; twice in a row, for nothing may stay
// behind from the tile before.
TEST(TilePower, IsThatOfTheDiscreteFourierTransform) {
  cv::RNG random(11);
  for (int repeat = 0; repeat < 2; ++repeat) {
    cv::Mat tile(kSpectralTile, kSpectralTile, CV_32F), spectrum;
    random.fill(tile, cv::RNG::NORMAL, 3, 25);
    cv::dft(tile, spectrum, cv::DFT_COMPLEX_OUTPUT);
    const cv::Mat power = tile_power(tile);
    ASSERT_EQ(power.size(), cv::Size(kSpectralTile / 2 + 1, kSpectralTile));
    for (int y = 0; y < power.rows; ++y)
      for (int x = 0; x < power.cols; ++x) {
        const auto z = spectrum.at<cv::Vec2f>(y, x);
        const double expected = (std::pow(z[0], 2) + std::pow(z[1], 2)) / (kSpectralTile * kSpectralTile);
        ASSERT_NEAR(power.at<float>(y, x), expected, 1e-3 + 1e-4 * expected) << x << ' ' << y;
      }
  }
}

TEST(TilePower, OfAWaveStandsAtItsFrequency) {
  cv::Mat tile(kSpectralTile, kSpectralTile, CV_32F);
  for (int y = 0; y < tile.rows; ++y)
    for (int x = 0; x < tile.cols; ++x)
      tile.at<float>(y, x) = static_cast<float>(10 * std::cos(2 * CV_PI * (9 * x - 20 * y) / kSpectralTile));
  cv::Point at;
  double most = 0;
  cv::minMaxLoc(tile_power(tile), nullptr, &most, nullptr, &at);
  EXPECT_EQ(at, cv::Point(9, kSpectralTile - 20));
  // A cosine of amplitude A puts A^2 N / 4 at its frequency (derived).
  EXPECT_NEAR(most, 100.0 * kSpectralTile * kSpectralTile / 4, 1);
}

}  // namespace
}  // namespace lookdown::cull
