// Blur that is known by construction must be found, whatever the picture shows.
#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/cull/log_power.h"
#include "stages/cull/spectrum_fit.h"
#include "test_pictures.h"

namespace lookdown {
namespace {

using test::dead_leaves;
using test::gaussian;
using test::measured;
using test::noisy;
using test::smeared;

const cv::Size kSize(900, 600);
constexpr double kFwhmOfSigma = 2.354820045;  // 2 sqrt(2 ln 2), derived

double turn_between(double a_deg, double b_deg) { return std::abs(std::fmod(a_deg - b_deg + 90 + 3600, 180) - 90); }

TEST(BlurOfFrame, WhiteNoiseHasItsVarianceAtAllFrequencies) {
  // The window keeps the power of white noise, and the mean of the logarithm of a power with two degrees of freedom lies Euler's 0.5772 below the
  // logarithm of its mean (derived: digamma(1)).
  const double sigma = 6;
  const cv::Mat noise = noisy(cv::Mat(kSize, CV_32F, cv::Scalar(128)), sigma, 3);
  cv::Mat bytes;
  noise.convertTo(bytes, CV_8U);
  double level = 0, middle = 0;
  const auto tiles = cull::spectral_tiles(kSize, 100);
  for (const cv::Rect& where : tiles) {
    const auto tile = cull::tile_spectrum(bytes(where), where);
    level += cv::mean(tile.log_power)[0] / static_cast<double>(tiles.size());
    middle += tile.middle_power / static_cast<double>(tiles.size());
  }
  EXPECT_NEAR(middle, sigma * sigma, 0.06 * sigma * sigma);
  EXPECT_NEAR(level, std::log(sigma * sigma) - 0.5772, 0.06);
}

TEST(BlurOfFrame, NullsOfAMadeSpectrumGiveLengthAndDirection) {
  // |sinc(L f)|^2 of a uniform smear (Hadar, Fisher & Kopeika, Opt. Eng. 31:581, 1992) on a scene of slope 2 with a floor.
  const double length = 9.5, turn = 35 * M_PI / 180;
  cv::Mat spectrum(cull::kSpectralTile, cull::kSpectralTile / 2 + 1, CV_32F);
  for (int y = 0; y < spectrum.rows; ++y)
    for (int x = 0; x < spectrum.cols; ++x) {
      const double fy = -(y <= spectrum.rows / 2 ? y : y - spectrum.rows) / 128.0, fx = x / 128.0;
      const double square = std::max(1e-4, fx * fx + fy * fy), s = M_PI * length * (fx * std::cos(turn) + fy * std::sin(turn));
      const double sinc = std::abs(s) < 1e-9 ? 1 : std::sin(s) / s;
      spectrum.at<float>(y, x) = static_cast<float>(std::log(sinc * sinc * std::exp(-4 * M_PI * M_PI * 0.36 * square) / square + 0.3));
    }
  const auto samples = cull::samples_of(spectrum);
  auto start = cull::fit_spectrum(samples, cull::first_guess(samples), false);
  start.smear_px = 8;
  start.direction_rad = 28 * M_PI / 180;
  const auto fit = cull::fit_spectrum(samples, start, true);
  EXPECT_NEAR(fit.smear_px, length, 0.04 * length);
  EXPECT_NEAR(fit.direction_rad, turn, 0.02);
}

TEST(BlurOfFrame, GaussianOfKnownSigmaIsRecovered) {
  for (const double sigma : {1.5, 2.5, 4.0}) {
    const Sharpness s = measured(noisy(gaussian(dead_leaves(kSize, 11), sigma), 1.5, 5));
    ASSERT_TRUE(s.blur_fwhm_px);
    EXPECT_NEAR(*s.blur_fwhm_px, kFwhmOfSigma * sigma, 0.2 * kFwhmOfSigma * sigma) << "sigma " << sigma;
  }
}

TEST(BlurOfFrame, DISABLED_SlantedEdgesGiveTheirMtf50) {
  // A Gaussian blur of sigma has MTF50 = sqrt(ln 2 / 2) / (pi sigma) = 0.1873906 / sigma cycles/px (derived); edges slanted by 5 degrees as in
  // ISO 12233.
  for (const double sigma : {1.5, 2.0, 3.0}) {
    cv::Mat chart(kSize * 4, CV_32F, cv::Scalar(190));
    for (int y = 0; y < 4; ++y)
      for (int x = 0; x < 6; ++x) {
        cv::Point2f corner[4];
        cv::RotatedRect({x * 600.0F + 300, y * 600.0F + 300}, {320, 320}, 5.0F + 3.0F * static_cast<float>(x)).points(corner);
        const std::vector<cv::Point> outline(corner, corner + 4);
        cv::fillConvexPoly(chart, outline, cv::Scalar(60));
      }
    cv::resize(chart, chart, kSize, 0, 0, cv::INTER_AREA);
    const Sharpness s = measured(noisy(gaussian(chart, sigma), 1, 7));
    ASSERT_TRUE(s.blur_fwhm_px);
    const double mtf50 = 0.1873906 / (*s.blur_fwhm_px / kFwhmOfSigma);
    EXPECT_NEAR(mtf50, 0.1873906 / sigma, 0.25 * 0.1873906 / sigma) << "sigma " << sigma;
  }
}

TEST(BlurOfFrame, SmearOfKnownLengthIsRecovered) {
  // Limits: 12 % or 1 px and 4 degrees.
  const double cases[][2] = {{5, 20}, {8, 75}, {12, 130}, {20, 160}};
  for (const auto& [length, direction] : cases) {
    const Sharpness s = measured(noisy(smeared(dead_leaves(kSize, 21), length, direction), 1.5, 6));
    ASSERT_TRUE(s.smear_px && s.smear_deg) << length;
    EXPECT_NEAR(*s.smear_px, length, std::max(1.0, 0.12 * length));
    EXPECT_LE(turn_between(*s.smear_deg, direction), 4) << length;
  }
}

TEST(BlurOfFrame, SharpnessFallsAsTheBlurGrows) {
  const cv::Mat scene = dead_leaves(kSize, 31);
  double last = 1;
  for (const double sigma : {0.5, 1.0, 1.6, 2.5, 4.0, 6.0}) {
    const Sharpness s = measured(noisy(gaussian(scene, sigma), 2, 8));
    ASSERT_TRUE(s.sharpness);
    EXPECT_LT(*s.sharpness, last) << "sigma " << sigma;
    last = *s.sharpness;
  }
}

TEST(BlurOfFrame, SmearTurnsWithTheFrame) {
  const cv::Mat picture = noisy(smeared(dead_leaves({700, 700}, 41), 9, 30), 1.5, 9);
  cv::Mat turned;
  cv::rotate(picture, turned, cv::ROTATE_90_COUNTERCLOCKWISE);
  const Sharpness before = measured(picture), after = measured(turned);
  ASSERT_TRUE(before.smear_deg && after.smear_deg);
  EXPECT_LE(turn_between(*after.smear_deg, *before.smear_deg + 90), 3);
  EXPECT_NEAR(*after.smear_px, *before.smear_px, 0.1 * *before.smear_px);
}

TEST(BlurOfFrame, HalfTheLightChangesLittle) {
  const cv::Mat picture = noisy(gaussian(dead_leaves(kSize, 51), 2), 1.5, 13);
  const Sharpness bright = measured(picture), dim = measured(picture * 0.5);
  ASSERT_TRUE(bright.blur_fwhm_px && dim.blur_fwhm_px);
  EXPECT_NEAR(*dim.blur_fwhm_px, *bright.blur_fwhm_px, 0.15 * *bright.blur_fwhm_px);
}

TEST(BlurOfFrame, NoiseAloneIsTooLittleDetail) {
  for (const double sigma : {2.0, 6.0, 15.0}) {
    const Sharpness s = measured(noisy(cv::Mat(kSize, CV_32F, cv::Scalar(110)), sigma, 10));
    EXPECT_LT(s.detail, cull::kLeastDetail) << "noise " << sigma;
    EXPECT_FALSE(s.blur_fwhm_px);
    EXPECT_FALSE(s.sharpness);
  }
}

TEST(BlurOfFrame, NoiseDoesNotReadAsSharp) {
  const cv::Mat blurred = gaussian(dead_leaves(kSize, 61), 3);
  const Sharpness clean = measured(blurred), grainy = measured(noisy(blurred, 6, 11));
  ASSERT_TRUE(clean.sharpness && grainy.sharpness);
  EXPECT_LT(*clean.sharpness, 0.3);
  EXPECT_LT(*grainy.sharpness, 0.3);
}

TEST(BlurOfFrame, HalfBlurredFrameIsToldApart) {
  const cv::Mat sharp = dead_leaves(kSize, 71), soft = gaussian(sharp, 5);
  cv::Mat picture = sharp.clone();
  soft.colRange(0, kSize.width / 2).copyTo(picture.colRange(0, kSize.width / 2));
  FrameRecord frame = test::record_of(noisy(picture, 1.5, 12), "half.png");
  FlightRecord flight;
  flight.frames.push_back(frame);
  cull::decide(flight, {});
  const Decision& decision = flight.frames[0].decision;
  EXPECT_EQ(decision.verdict, Verdict::check);
  ASSERT_FALSE(decision.reasons.empty());
  EXPECT_EQ(decision.reasons.back().word, "blurred in part");
}

}  // namespace
}  // namespace lookdown
