// Frames of more than eight bits on their way into the mosaic: colours against the ground that they were made
// from, and deep shadows that stay smooth when they are lifted.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "made_dng/made_dng.h"
#include "pipeline/imaging/formats/raw_decode.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "tests/bench/mosaic/against_truth.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

using test::make_small_flight;
using test::SmallFlight;
using test::SmallFlightRun;

/// Linear light of the ground: dark on the left, in the shade of something, bright on the right, with detail,
/// and nothing in the shade but a slow change of tone.
cv::Mat ground_light(cv::Size size) {
  cv::RNG random(21);
  cv::Mat detail(size, CV_64FC3);
  random.fill(detail, cv::RNG::NORMAL, 0, 1);
  cv::GaussianBlur(detail, detail, {}, 3);
  cv::Mat light(size, CV_64FC3);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      const double across = static_cast<double>(x) / size.width;
      const double tone = 0.002 + 0.5 * std::pow(std::max(0.0, across - 0.15), 2) + 0.003 * across;
      const double contrast = 2 * std::clamp((across - 0.55) * 4, 0.0, 1.0);
      const auto& by = detail.at<cv::Vec3d>(y, x);
      light.at<cv::Vec3d>(y, x) = {0.8 * tone * std::exp(contrast * by[0]), tone * std::exp(contrast * by[1]),
                                   0.9 * tone * std::exp(contrast * by[2])};
    }
  return light;
}

/// The same light as one of the flight's frames sees it.
cv::Mat seen_light(const FrameRecord& frame, const cv::Mat& ground) {
  const Camera& camera = frame.placement.camera;
  cv::Mat map(camera.height_px, camera.width_px, CV_32FC2), seen;
  for (int y = 0; y < map.rows; ++y)
    for (int x = 0; x < map.cols; ++x) {
      const auto at = frame.placement.mosaic_from_frame *
                      camera.undistort({static_cast<double>(x), static_cast<double>(y)});
      map.at<cv::Vec2f>(y, x) = {static_cast<float>(at.x), static_cast<float>(at.y)};
    }
  cv::remap(ground, seen, map, cv::noArray(), cv::INTER_CUBIC, cv::BORDER_REFLECT);
  return cv::max(seen, 0);
}

/// IEC 61966-2-1, clause 5.2.
double coded(double light) {
  return light <= 0.0031308 ? 12.92 * light : 1.055 * std::pow(light, 1 / 2.4) - 0.055;
}

cv::Mat coded_picture(const cv::Mat& light, int depth) {
  cv::Mat picture = light.clone(), out;
  for (int row = 0; row < picture.rows; ++row)
    for (int column = 0; column < picture.cols; ++column)
      for (double& value : picture.at<cv::Vec3d>(row, column).val) value = coded(std::clamp(value, 0.0, 1.0));
  picture.convertTo(out, depth, depth == CV_16U ? 65535 : 255);
  return out;
}

enum class Source { raw, tiff };

struct DeepFlight {
  SmallFlight flight = make_small_flight({});
  cv::Mat light = ground_light(flight.ground.size());
  explicit DeepFlight(Source source) {
    const std::array<const char*, 3> patterns{"RGGB", "GRBG", "BGGR"};
    for (std::size_t i = 0; i < flight.record.frames.size(); ++i) {
      FrameRecord& frame = flight.record.frames[i];
      const cv::Mat seen = seen_light(frame, light);
      frame.source.format = source == Source::raw ? "RAW" : "TIFF";
      frame.source.path.replace_extension(source == Source::raw ? ".dng" : ".tif");
      if (source == Source::raw)
        write_dng(frame.source.path,
                  {.linear_bgr = seen, .pattern = patterns[i % 3], .black = {512, 520, 508, 516}});
      else
        cv::imwrite(frame.source.path.string(), coded_picture(seen, CV_16U));
    }
  }
  void build_with(const Options& options) {
    SmallFlightRun run(flight);
    build(flight.record, options, run.context);
  }
};

cv::Mat mosaic_of(const SmallFlight& flight) {
  return cv::imread((flight.out / "mosaic.tif").string(), cv::IMREAD_UNCHANGED);
}

cv::Vec3d lab(const cv::Vec3d& bgr) {
  const cv::Mat one(1, 1, CV_32FC3, cv::Scalar(bgr[0], bgr[1], bgr[2]));
  cv::Mat out;
  cv::cvtColor(one, out, cv::COLOR_BGR2Lab);
  return out.at<cv::Vec3f>(0);
}

/// Median over covered pixels; `mosaic` of `full` levels.
double median_ciede2000(const cv::Mat& mosaic, const cv::Mat& light) {
  const double full = mosaic.depth() == CV_16U ? 65535 : 255;
  cv::Mat levels;
  mosaic.convertTo(levels, CV_64F);
  std::vector<double> apart;
  for (int row = 0; row < mosaic.rows; row += 3)
    for (int column = 0; column < mosaic.cols; column += 3) {
      const auto& found = levels.at<cv::Vec4d>(row, column);
      if (found[3] < full) continue;
      cv::Vec3d given = light.at<cv::Vec3d>(row, column), shown;
      for (int channel = 0; channel < 3; ++channel) {
        given[channel] = coded(std::clamp(given[channel], 0.0, 1.0));
        shown[channel] = found[channel] / full;
      }
      apart.push_back(bench::ciede2000(lab(shown), lab(given)));
    }
  std::nth_element(apart.begin(), apart.begin() + apart.size() / 2, apart.end());
  return apart[apart.size() / 2];
}

/// The longest run of empty levels between occupied ones after the shadows were lifted by three stops in
/// light and written with eight bits: what a person sees as steps.
int longest_gap_when_lifted(const cv::Mat& mosaic) {
  const double full = mosaic.depth() == CV_16U ? 65535 : 255;
  cv::Mat levels;
  mosaic.convertTo(levels, CV_64F, 1 / full);
  std::vector<int> count(256, 0);
  for (int row = 0; row < mosaic.rows; ++row)
    for (int column = 0; column < mosaic.cols / 3; ++column)
      if (const auto& pixel = levels.at<cv::Vec4d>(row, column); pixel[3] == 1)
        ++count[static_cast<std::size_t>(
            std::lround(255 * coded(std::min(1.0, 8 * linear_from_srgb(255 * pixel[1])))))];
  int last = -1, longest = 0;
  for (int level = 0; level < 255; ++level)
    if (count[static_cast<std::size_t>(level)] > 0) {
      if (last >= 0) longest = std::max(longest, level - last - 1);
      last = level;
    }
  return longest;
}

// Limits: a median CIEDE2000 of 1 is just noticeable (Sharma, Wu & Dalal 2005; common practice).
TEST(SixteenBits, RawFramesBecomeAMosaicInTheColoursOfTheGround) {
  if (!raw_is_available()) GTEST_SKIP() << "this build has no LibRaw";
  DeepFlight made(Source::raw);
  Options options;
  options.bits = "16";
  options.colour_balance = false;
  made.build_with(options);
  const cv::Mat mosaic = mosaic_of(made.flight);
  ASSERT_EQ(mosaic.type(), CV_16UC4);
  EXPECT_LT(median_ciede2000(mosaic, made.light), 1);
}

TEST(SixteenBits, DeepShadowsCanBeLiftedByThreeStopsWithoutSteps) {
  Options options;
  options.bits = "16";
  DeepFlight sixteen(Source::tiff), eight(Source::tiff);
  sixteen.build_with(options);
  eight.build_with({});
  EXPECT_LT(median_ciede2000(mosaic_of(sixteen.flight), sixteen.light), 1);
  EXPECT_EQ(longest_gap_when_lifted(mosaic_of(sixteen.flight)), 0);
  // Eight bits cannot: 8 times the light is some 3 levels a level at the dark end.
  ASSERT_EQ(mosaic_of(eight.flight).type(), CV_8UC4);
  EXPECT_GT(longest_gap_when_lifted(mosaic_of(eight.flight)), 1);
}

TEST(SixteenBits, PicturesForPeopleAreTheSame) {
  DeepFlight sixteen(Source::tiff), eight(Source::tiff);
  Options options;
  options.bits = "16";
  sixteen.build_with(options);
  eight.build_with({});
  for (const char* name : {"mosaic.jpg", "mosaic_clean.jpg"}) {
    const cv::Mat one = cv::imread((sixteen.flight.out / name).string()),
                  other = cv::imread((eight.flight.out / name).string());
    ASSERT_FALSE(one.empty()) << name;
    ASSERT_EQ(one.size(), other.size()) << name;
    cv::Mat apart;
    cv::absdiff(one, other, apart);
    EXPECT_LT(cv::mean(apart)[1], 0.5) << name;
  }
  EXPECT_TRUE(std::filesystem::exists(sixteen.flight.out / "mosaic.kmz"));
}

// Half the light of black beside white is the mean of their light, 188 as a code value, not 128 (IEC
// 61966-2-1).
TEST(SixteenBits, JoinsInLinearLight) {
  cv::Mat colours(1, 2, CV_32FC3, cv::Scalar::all(0));
  colours.at<cv::Vec3f>(0, 1) = cv::Vec3f::all(255);
  to_linear_light(colours);
  cv::Mat mixed(1, 1, CV_32FC3, cv::mean(colours));
  to_code_values(mixed);
  EXPECT_NEAR(mixed.at<cv::Vec3f>(0)[0], 187.516, 0.001);
}

TEST(SixteenBits, CurvesReturnToATwentiethOfALevel) {
  cv::Mat levels(1, 65536, CV_32FC3);
  for (int level = 0; level < levels.cols; ++level)
    levels.at<cv::Vec3f>(level) = cv::Vec3f::all(static_cast<float>(level / 257.0));
  cv::Mat there = levels.clone();
  to_linear_light(there);
  for (int level = 0; level < levels.cols; level += 97)
    EXPECT_NEAR(there.at<cv::Vec3f>(level)[0], linear_from_srgb(level / 257.0), 5e-7) << level;
  to_code_values(there);
  EXPECT_LT(cv::norm(there, levels, cv::NORM_INF), 0.05 / 257);
}

}  // namespace
}  // namespace lookdown::mosaic
