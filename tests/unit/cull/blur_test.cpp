// Blur that is known by construction must be found, whatever the picture shows.
#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "stages/cull/spectrum/edge_spread.h"
#include "stages/cull/spectrum/log_periodogram.h"
#include "stages/cull/spectrum/mtf_lobes.h"
#include "stages/cull/spectrum/spectrum_fit.h"
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

double turn_between(double a_deg, double b_deg) {
  return std::abs(std::fmod(a_deg - b_deg + 90 + 3600, 180) - 90);
}

TEST(BlurOfFrame, WhiteNoiseHasItsVarianceAtAllFrequencies) {
  // The window keeps the power of white noise, and the mean of the logarithm of a power with two degrees of
  // freedom lies Euler's 0.5772 below the logarithm of its mean (derived: digamma(1)).
  const double sigma = 6;
  const cv::Mat noise = noisy(cv::Mat(kSize, CV_32F, cv::Scalar(128)), sigma, 3);
  cv::Mat bytes;
  noise.convertTo(bytes, CV_8U);
  double level = 0, middle = 0;
  const auto tiles = cull::spectral_tiles(kSize, 100);
  for (const cv::Rect& where : tiles) {
    const auto tile = cull::tile_spectrum(bytes(where), where);
    level += cv::mean(tile.log_periodogram)[0] / static_cast<double>(tiles.size());
    middle += tile.middle_power / static_cast<double>(tiles.size());
  }
  EXPECT_NEAR(middle, sigma * sigma, 0.06 * sigma * sigma);
  EXPECT_NEAR(level, std::log(sigma * sigma) - 0.5772, 0.06);
}

/// Log spectrum of a scene of slope 2 with a floor, seen through `passed` (share of the power at fx, fy, y
/// up).
template <class Passed>
cull::SpectrumSamples made_spectrum(const Passed& passed) {
  cv::Mat spectrum(cull::kSpectralTile, cull::kSpectralTile / 2 + 1, CV_32F);
  for (int y = 0; y < spectrum.rows; ++y)
    for (int x = 0; x < spectrum.cols; ++x) {
      const double fy = -(y <= spectrum.rows / 2 ? y : y - spectrum.rows) / 128.0, fx = x / 128.0;
      const double square = std::max(1e-4, fx * fx + fy * fy);
      spectrum.at<float>(y, x) = static_cast<float>(
          std::log(passed(fx, fy) * std::exp(-4 * M_PI * M_PI * 0.36 * square) / square + 0.3));
    }
  return cull::samples_of(spectrum);
}

double smear_passes(double fx, double fy, double length_px, double direction_rad) {
  const double s = M_PI * length_px * (fx * std::cos(direction_rad) + fy * std::sin(direction_rad));
  return std::abs(s) < 1e-9 ? 1 : std::pow(std::sin(s) / s, 2);
}

TEST(BlurOfFrame, NullsOfAMadeSpectrumGiveLengthAndDirection) {
  // |sinc(L f)|^2 of a uniform smear (Hadar, Fisher & Kopeika, Opt. Eng. 31:581, 1992).
  for (const auto& [length, turn] : {std::pair{4.5, 1.9}, std::pair{9.5, 0.61}, std::pair{21.0, 2.6}}) {
    const auto fit = cull::fit_spectrum(
        made_spectrum([&](double fx, double fy) { return smear_passes(fx, fy, length, turn); }),
        cull::BlurShape::motion);
    EXPECT_NEAR(fit.length_px, length, 0.05 * length);
    EXPECT_NEAR(std::remainder(fit.direction_rad - turn, M_PI), 0, 0.03) << length;
  }
}

TEST(BlurOfFrame, StraightEdgesOfTheSceneDoNotPassForTheSmear) {
  // Walls put e^2.5 times the power on rays within 6 degrees of 20 degrees; the smear runs along 65 degrees.
  const double length = 12, turn = 65 * kDegree;
  const auto walls = [](double fx, double fy) {
    const double off = std::remainder(std::atan2(fy, fx) - 20 * kDegree, M_PI) / (6 * kDegree);
    return std::exp(2.5 * std::exp(-off * off));
  };
  const auto fit = cull::fit_spectrum(
      made_spectrum([&](double fx, double fy) { return walls(fx, fy) * smear_passes(fx, fy, length, turn); }),
      cull::BlurShape::motion);
  EXPECT_NEAR(fit.length_px, length, 0.08 * length);
  EXPECT_NEAR(std::remainder(fit.direction_rad - turn, M_PI), 0, 0.05);
}

TEST(BlurOfFrame, RingsOfAMadeSpectrumGiveTheRadius) {
  // (2 J1(x) / x)^2, x = 2 pi R f, of a uniform disc (Goodman, Introduction to Fourier Optics).
  const double radius = 5;
  const auto disc = [&](double fx, double fy) {
    const double x = 2 * M_PI * radius * std::max(1e-6, std::hypot(fx, fy));
    return std::pow(2 * ::j1(x) / x, 2);
  };
  EXPECT_NEAR(cull::fit_spectrum(made_spectrum(disc), cull::BlurShape::disc).length_px, radius,
              0.05 * radius);
}

/// Value and derivative of a squared transfer function at one argument.
template <typename Lobe>
std::pair<double, double> lobe_at(Lobe lobe, double argument) {
  cull::SampleNumbers at(1), value, derivative;
  at << static_cast<float>(argument);
  lobe(at, value, derivative);
  return {value[0], derivative[0]};
}

TEST(BlurOfFrame, LobesHaveTheirNulls) {
  // First zero of J1: 3.8317 (Abramowitz & Stegun, table 9.5); of sin(pi s): 1.
  EXPECT_NEAR(lobe_at(cull::squared_jinc, 3.8317 / (2 * M_PI)).first, 0, 1e-4);
  EXPECT_NEAR(lobe_at(cull::squared_jinc, 0).first, 1, 1e-6);
  EXPECT_NEAR(lobe_at(cull::squared_sinc, 1).first, 0, 1e-9);
  EXPECT_NEAR(lobe_at(cull::squared_sinc, 0).first, 1, 1e-3);
  for (const auto& lobe : {cull::squared_jinc, cull::squared_sinc})
    for (const double r : {0.2, 0.45, 1.1})
      EXPECT_NEAR(lobe_at(lobe, r).second,
                  (lobe_at(lobe, r + 0.01).first - lobe_at(lobe, r - 0.01).first) / 0.02, 0.03)
          << r;
}

TEST(BlurOfFrame, WidthOfAStepIsThatOfItsBlur) {
  // The integral of a Gaussian of known width, turned by 20 degrees: gradient toward 20 degrees below +x, so
  // 160 counter-clockwise.
  for (const double sigma : {1.0, 1.8, 3.0, 5.0}) {
    cv::Mat step(cull::kSpectralTile, cull::kSpectralTile, CV_8U);
    for (int y = 0; y < step.rows; ++y)
      for (int x = 0; x < step.cols; ++x) {
        const double off = (x - 64) * std::cos(20 * kDegree) + (y - 64) * std::sin(20 * kDegree);
        step.at<std::uint8_t>(y, x) =
            static_cast<std::uint8_t>(std::lround(60 + 140 * 0.5 * std::erfc(-off / sigma / std::sqrt(2.0))));
      }
    const auto edges = cull::edge_histogram(step, 0.3);
    ASSERT_GT(edges.count(), 50) << sigma;
    EXPECT_NEAR(edges.quantile(0.5), sigma, 0.15 * sigma);
    EXPECT_GT(edges.count(160 * kDegree), 0.6 * edges.count());
  }
}

TEST(BlurOfFrame, NoiseHasNoEdges) {
  cv::Mat noise;
  noisy(cv::Mat(cull::kSpectralTile, cull::kSpectralTile, CV_32F, cv::Scalar(120)), 8, 3)
      .convertTo(noise, CV_8U);
  EXPECT_LT(cull::edge_histogram(noise, 64).count(), 10);
}

TEST(BlurOfFrame, GaussianOfKnownSigmaIsRecovered) {
  for (const double sigma : {1.5, 2.5, 4.0}) {
    const Sharpness s = measured(noisy(gaussian(dead_leaves(kSize, 11), sigma), 1.5, 5));
    ASSERT_TRUE(s.blur_fwhm_px);
    EXPECT_NEAR(*s.blur_fwhm_px, kFwhmOfSigma * sigma, 0.2 * kFwhmOfSigma * sigma) << "sigma " << sigma;
  }
}

TEST(BlurOfFrame, SlantedEdgesGiveTheirMtf50) {
  // A Gaussian blur of sigma has MTF50 = sqrt(ln 2 / 2) / (pi sigma) = 0.1873906 / sigma cycles/px (derived);
  // edges slanted by 5 degrees as in ISO 12233. The chart's pixels are means over squares of 1 px, which adds
  // the variance 1/12 px^2 to the blur.
  for (const double sigma : {1.0, 1.5, 2.0, 3.0, 4.0}) {
    cv::Mat chart(kSize * 4, CV_32F, cv::Scalar(190));
    for (int y = 0; y < 4; ++y)
      for (int x = 0; x < 6; ++x) {
        cv::Point2f corner[4];
        cv::RotatedRect({x * 600.0F + 300, y * 600.0F + 300}, {320, 320}, 5.0F + 3.0F * static_cast<float>(x))
            .points(corner);
        const std::vector<cv::Point> outline(corner, corner + 4);
        cv::fillConvexPoly(chart, outline, cv::Scalar(60));
      }
    cv::resize(chart, chart, kSize, 0, 0, cv::INTER_AREA);
    const Sharpness s = measured(noisy(gaussian(chart, sigma), 1, 7));
    ASSERT_TRUE(s.blur_fwhm_px);
    const double mtf50 = 0.1873906 / (*s.blur_fwhm_px / kFwhmOfSigma),
                 expected = 0.1873906 / std::sqrt(sigma * sigma + 1.0 / 12);
    EXPECT_NEAR(mtf50, expected, 0.05 * expected) << "sigma " << sigma;
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

/// Mean of the pictures that a camera sees which shifts by `length` at `direction_deg` (y up) and turns by
/// `turn_px` at the corners while the shutter is open.
cv::Mat smeared_and_turned(const cv::Mat& sharp, double length, double direction_deg, double turn_px) {
  constexpr int kMoments = 41;
  const cv::Point2d middle(sharp.cols / 2.0, sharp.rows / 2.0);
  const double angle = direction_deg * kDegree, turn_deg = turn_px / std::hypot(middle.x, middle.y) / kDegree;
  cv::Mat sum = cv::Mat::zeros(sharp.size(), CV_32F), seen;
  for (int k = 0; k < kMoments; ++k) {
    const double t = (k + 0.5) / kMoments - 0.5;
    cv::Mat motion = cv::getRotationMatrix2D(middle, t * turn_deg, 1);
    motion.at<double>(0, 2) += t * length * std::cos(angle);
    motion.at<double>(1, 2) -= t * length * std::sin(angle);
    cv::warpAffine(sharp, seen, motion, sharp.size(), cv::INTER_CUBIC, cv::BORDER_REFLECT);
    sum += seen / kMoments;
  }
  return sum;
}

TEST(BlurOfFrame, SmearOfATurningCameraIsThatOfTheMiddle) {
  // Limits as for even smears: 12 % or 1 px and 4 degrees.
  const double cases[][3] = {{16, 20, 7}, {10, 110, -4}, {18, 150, -8}};
  for (const auto& [length, direction, turn] : cases) {
    const Sharpness s =
        measured(noisy(smeared_and_turned(dead_leaves({1500, 1000}, 23), length, direction, turn), 1.5, 6));
    ASSERT_TRUE(s.smear_px && s.smear_deg) << length;
    EXPECT_NEAR(*s.smear_px, length, std::max(1.0, 0.12 * length)) << direction;
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
  EXPECT_EQ(decision.verdict, Verdict::unsure);
  ASSERT_FALSE(decision.reasons.empty());
  EXPECT_EQ(decision.reasons.back().word, "blurred in part");
}

}  // namespace
}  // namespace lookdown
