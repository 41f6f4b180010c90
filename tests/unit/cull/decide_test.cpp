// Verdicts, their reasons and what the flight says about them.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/cull/blur_limits.h"
#include "stages/cull/cull.h"
#include "stages/cull/duplicates/thumbnail.h"
#include "stages/cull/exposure.h"
#include "stages/cull/view.h"
#include "test_pictures.h"

namespace lookdown {
namespace {

FrameRecord frame_with(double fwhm_px, double smear_px = 0, int number = 0) {
  FrameRecord frame;
  frame.source.file = "F" + std::to_string(number) + ".jpg";
  Sharpness s;
  s.detail = 1;
  s.sharpness_alone = 1 / (1 + std::pow(fwhm_px / 2, 2));  // as measured when the odds of a blur are even
  s.blur_fwhm_px = fwhm_px;
  s.blur_sigma_share = 0.1;
  s.smear_px = smear_px;
  s.mean_level = 0.2;
  frame.sharpness = s;
  return frame;
}

const Reason* find(const Decision& decision, const std::string& word) {
  for (const Reason& reason : decision.reasons)
    if (reason.word == word) return &reason;
  return nullptr;
}

TEST(View, OfAPlacedFrameIsToldByItsTilt) {
  FlightRecord flight;
  for (const double off_nadir_deg : {8.0, 35.0, 35.0}) {
    flight.frames.push_back(frame_with(1.5));
    flight.frames.back().decision.view = View::nadir;
    flight.frames.back().placement.placed = true;
    flight.frames.back().tilt = Tilt{};
    flight.frames.back().tilt->off_nadir_deg = off_nadir_deg;
    flight.frames.back().tilt->sigma_deg = 1;
  }
  flight.frames[2].placement.placed = false;
  cull::tell_obliques_by_placement(flight);
  EXPECT_EQ(flight.frames[0].decision.view, View::nadir);
  EXPECT_EQ(flight.frames[1].decision.view, View::oblique);
  ASSERT_NE(find(flight.frames[1].decision, "oblique"), nullptr);
  EXPECT_EQ(find(flight.frames[1].decision, "oblique")->value, 35);
  EXPECT_EQ(flight.frames[2].decision.view, View::nadir);
}

TEST(Verdict, NamesTheNumberAndTheLimit) {
  FlightRecord flight;
  flight.frames = {frame_with(6, 0, 1), frame_with(1.5, 0, 2), frame_with(5, 9, 3)};
  cull::Options options;
  options.max_blur_px = 2.5;
  options.max_smear_px = 4;
  cull::decide(flight, options);
  const Reason* blurred = find(flight.frames[0].decision, "blurred");
  ASSERT_TRUE(blurred);
  EXPECT_EQ(flight.frames[0].decision.verdict, Verdict::drop);
  EXPECT_DOUBLE_EQ(*blurred->value, 6);
  EXPECT_DOUBLE_EQ(*blurred->limit, 2.5);
  EXPECT_EQ(flight.frames[1].decision.verdict, Verdict::keep);
  const Reason* smeared = find(flight.frames[2].decision, "smeared");
  ASSERT_TRUE(smeared);
  EXPECT_DOUBLE_EQ(*smeared->value, 9);
  EXPECT_DOUBLE_EQ(*smeared->limit, 4);
}

TEST(Verdict, FrameThatDoesNotTellIsUnsure) {
  FlightRecord flight;
  flight.frames = {frame_with(2)};
  flight.frames[0].sharpness->blur_fwhm_px.reset();
  flight.frames[0].sharpness->detail = 0.1;
  cull::decide(flight, {});
  EXPECT_EQ(flight.frames[0].decision.verdict, Verdict::unsure);
  EXPECT_TRUE(find(flight.frames[0].decision, "too little detail"));
}

TEST(Verdict, StricterNeverKeepsMore) {
  std::vector<double> widths;
  for (int i = 0; i < 40; ++i) widths.push_back(1.2 + 0.1 * i);
  int last = 41;
  for (const double strictness : {0.0, 0.25, 0.5, 0.75, 1.0}) {
    FlightRecord flight;
    for (std::size_t i = 0; i < widths.size(); ++i)
      flight.frames.push_back(frame_with(widths[i], 0, static_cast<int>(i)));
    cull::Options options;
    options.strictness = strictness;
    cull::decide(flight, options);
    int kept = 0;
    for (const auto& frame : flight.frames) kept += frame.decision.verdict == Verdict::keep;
    EXPECT_LE(kept, last) << strictness;
    last = kept;
  }
  EXPECT_GT(last, 0);
}

cull::BlurLimits limits_for(const std::vector<FrameRecord>& frames, const cull::Options& options = {}) {
  return cull::FlightBlurLimits(frames, options).of(frames.front());
}

// Variances of blurs add, and a camera's own is taken out (derived): what counts as blurred lies, in squares,
// between the camera's own width and that of the blurred frames, and splits two clear groups whatever the
// lens.
TEST(BlurLimit, SplitsSharpFromBlurredFramesOfASoftLens) {
  for (const double lens_px : {1.2, 1.8, 2.6, 2.9}) {
    FlightRecord flight;
    const double blurred_px = std::hypot(lens_px, 2.6);
    for (int i = 0; i < 20; ++i) flight.frames.push_back(frame_with(lens_px + 0.004 * i, 0, i));
    for (int i = 0; i < 10; ++i) flight.frames.push_back(frame_with(blurred_px + 0.02 * i, 0, 20 + i));
    cull::Options options;
    options.keep_repeats = true;
    cull::decide(flight, options);
    for (int i = 0; i < 30; ++i)
      EXPECT_EQ(flight.frames[i].decision.verdict, i < 20 ? Verdict::keep : Verdict::drop)
          << lens_px << ' ' << i;
    EXPECT_EQ(limits_for(flight.frames).from, cull::LimitFrom::camera);
  }
}

TEST(BlurLimit, TwoCamerasOfOneFlightAreEachToldByTheirOwn) {
  FlightRecord flight;
  for (int i = 0; i < 24; ++i) {
    flight.frames.push_back(frame_with(i % 2 == 0 ? 1.2 : 2.7, 0, i));
    flight.frames.back().info.camera_id = i % 2 == 0 ? "sharp" : "soft";
  }
  // What is sharp for the soft one is blurred for the other.
  flight.frames.push_back(frame_with(2.7, 0, 24));
  flight.frames.back().info.camera_id = "sharp";
  cull::Options options;
  options.keep_repeats = true;
  cull::decide(flight, options);
  for (int i = 0; i < 24; ++i) EXPECT_EQ(flight.frames[i].decision.verdict, Verdict::keep) << i;
  EXPECT_EQ(flight.frames[24].decision.verdict, Verdict::drop);
}

TEST(BlurLimit, WithoutASharpFrameIsFixedAndSaysSo) {
  FlightRecord flight;
  for (int i = 0; i < 30; ++i) flight.frames.push_back(frame_with(7 + 0.05 * i, 0, i));
  EXPECT_EQ(limits_for(flight.frames).from, cull::LimitFrom::no_sharp_frame);
  const std::vector<FrameRecord> few = {frame_with(2.6), frame_with(2.7)};
  EXPECT_EQ(limits_for(flight.frames).blur_fwhm_px, limits_for(few).blur_fwhm_px);
  cull::decide(flight, {});
  const Reason* blurred = find(flight.frames[0].decision, "blurred");
  ASSERT_TRUE(blurred);
  EXPECT_NE(blurred->unit.find("no sharp frame"), std::string::npos);
}

// A lens with astigmatism seems to smear every frame alike; a frame that moved besides stands out, squares
// subtracted (derived): 5 px of which 3 are the lens's own are 4 px of motion.
TEST(BlurLimit, TheCamerasOwnAstigmatismIsNoSmear) {
  std::vector<FrameRecord> frames;
  for (int i = 0; i < 20; ++i) {
    frames.push_back(frame_with(1.9, 3, i));
    frames.back().sharpness->smear_deg = 40 + (i % 5);
  }
  const cull::BlurLimits limits = limits_for(frames);
  EXPECT_NEAR(limits.own_smear_px, 3, 1e-9);
  EXPECT_NEAR(limits.own_smear_deg, 42, 0.5);
  Sharpness moved;
  moved.smear_px = 5, moved.smear_deg = 45;
  EXPECT_NEAR(limits.moved_px(moved), 4, 1e-9);
  moved.smear_deg = 120;
  EXPECT_NEAR(limits.moved_px(moved), 5, 1e-9);
}

TEST(Verdict, ShortSmearThatTheWidthHardlyShowsIsUnsure) {
  FlightRecord flight;
  for (int i = 0; i < 20; ++i) flight.frames.push_back(frame_with(1.4, 0, i));
  for (int i = 0; i < 20; ++i) flight.frames[i].sharpness->sharpness_alone = i < 17 ? 0.85 + 0.005 * i : 0.45;
  cull::Options options;
  options.keep_repeats = true;
  cull::decide(flight, options);
  for (int i = 0; i < 20; ++i)
    EXPECT_EQ(flight.frames[i].decision.verdict, i < 17 ? Verdict::keep : Verdict::unsure) << i;
  EXPECT_TRUE(find(flight.frames[19].decision, "soft"));
}

TEST(Verdict, SharpnessIsToldAgainstTheCamera) {
  // Two cameras, the lens of the second softer: what it shows at its best counts for as sharp, nearly, as
  // what the first does, and the order of each camera's frames stays.
  FlightRecord flight;
  for (int i = 0; i < 40; ++i) {
    flight.frames.push_back(frame_with(i < 20 ? 1.4 : 1.9, 0, i));
    FrameRecord& frame = flight.frames.back();
    frame.info.camera_id = i < 20 ? "crisp" : "soft";
    frame.sharpness->sharpness_alone = (i < 20 ? 0.90 : 0.60) - (i % 2) * 0.4 + 0.002 * (i % 20);
  }
  cull::Options options;
  options.keep_repeats = true;
  cull::decide(flight, options);
  const auto told = [&](int i) { return *flight.frames[i].sharpness->sharpness; };
  for (int i = 0; i < 40; i += 2) {
    EXPECT_GT(told(i), 0.5) << i;
    EXPECT_LT(told(i + 1), 0.5) << i;
  }
  EXPECT_GT(told(38), told(1)) << "alone it is 0.64 against 0.50";
  EXPECT_LT(told(0) - told(20), 0.5 * (0.90 - 0.60));
  const double once = told(7);
  cull::decide(flight, options);
  EXPECT_EQ(told(7), once);
}

TEST(BlurLimit, FewFramesUseTheFixedLimit) {
  const std::vector<FrameRecord> frames = {frame_with(2.6), frame_with(2.7)};
  EXPECT_EQ(limits_for(frames).from, cull::LimitFrom::too_few_frames);
}

TEST(Exposure, ClippingIsCountedByChannel) {
  cv::Mat picture(100, 100, CV_8UC3, cv::Scalar(100, 100, 100));
  picture(cv::Rect(0, 0, 100, 20)).setTo(cv::Scalar(100, 100, 255));  // red full over a fifth
  picture(cv::Rect(0, 90, 100, 10)).setTo(cv::Scalar(0, 0, 0));
  Sharpness s;
  cull::measure_exposure(picture, s);
  EXPECT_NEAR(s.clipped_high_share, 0.2, 1e-9);
  EXPECT_NEAR(s.clipped_high_channel_share[0], 0.2, 1e-9);
  EXPECT_NEAR(s.clipped_high_channel_share[1], 0, 1e-9);
  EXPECT_NEAR(s.clipped_low_share, 0.1, 1e-9);
}

TEST(Exposure, MeanLevelIsInLinearLight) {
  // sRGB 188 of 255 is half the light (IEC 61966-2-1: 0.5029).
  Sharpness s;
  cull::measure_exposure(cv::Mat(10, 10, CV_8UC3, cv::Scalar(188, 188, 188)), s);
  EXPECT_NEAR(s.mean_level, 0.5029, 5e-4);
}

cv::Mat ground() {
  cv::Mat grey, bytes, bgr;
  cv::resize(test::dead_leaves({300, 200}, 77), grey, {1500, 1000}, 0, 0, cv::INTER_CUBIC);
  grey.convertTo(bytes, CV_8U);
  cv::cvtColor(bytes, bgr, cv::COLOR_GRAY2BGR);
  return bgr;
}

cv::Mat view_of(const cv::Mat& map, double dx, double dy, double turn_deg) {
  cv::Mat m = cv::getRotationMatrix2D({750, 500}, turn_deg, 1);
  m.at<double>(0, 2) -= 450 + dx;
  m.at<double>(1, 2) -= 300 + dy;
  cv::Mat out;
  cv::warpAffine(map, out, m, {600, 400}, cv::INTER_LINEAR);
  return out;
}

FrameRecord hovering(const cv::Mat& picture, double fwhm_px, int number) {
  FrameRecord frame = frame_with(fwhm_px, 0, number);
  frame.sharpness->signature = cull::make_thumbnail(picture);
  frame.info.taken_at_s = number;
  return frame;
}

TEST(NearDuplicates, SmallShiftAndTurnIsARepeatAndTheSharpestStays) {
  const cv::Mat map = ground();
  FlightRecord flight;
  flight.frames = {hovering(view_of(map, 0, 0, 0), 1.9, 0), hovering(view_of(map, 12, -9, 3), 1.4, 1),
                   hovering(view_of(map, -10, 5, -4), 1.8, 2), hovering(view_of(map, 240, 0, 0), 1.5, 3)};
  cull::decide(flight, {});
  EXPECT_EQ(flight.frames[0].decision.repeat_of, "F1.jpg");
  EXPECT_EQ(flight.frames[1].decision.repeat_of, "");
  EXPECT_EQ(flight.frames[2].decision.repeat_of, "F1.jpg");
  EXPECT_EQ(flight.frames[3].decision.repeat_of, "");
  EXPECT_EQ(flight.frames[1].decision.verdict, Verdict::keep);
  EXPECT_EQ(flight.frames[0].decision.verdict, Verdict::drop);
}

/// Snow: hardly any contrast of its own, seen through a lens whose corners are darker by 0.4.
cv::Mat through_vignetting_lens(const cv::Mat& picture) {
  cv::Mat out = picture.clone();
  for (int y = 0; y < out.rows; ++y)
    for (int x = 0; x < out.cols; ++x) {
      const double square =
          std::pow(2.0 * x / (out.cols - 1) - 1, 2) + std::pow(2.0 * y / (out.rows - 1) - 1, 2);
      const double level = (210 + 0.12 * (picture.at<cv::Vec3b>(y, x)[0] - 128)) * (1 - 0.2 * square);
      out.at<cv::Vec3b>(y, x) = cv::Vec3b::all(cv::saturate_cast<std::uint8_t>(level));
    }
  return out;
}

TEST(NearDuplicates, TheLensIsNoRepeatWhereTheGroundHardlyShows) {
  const cv::Mat map = ground();
  const auto snow = [&](double dx, double dy, double turn_deg, int number) {
    return hovering(through_vignetting_lens(view_of(map, dx, dy, turn_deg)), 1.5 + 0.1 * number, number);
  };
  FlightRecord flight;
  flight.frames = {snow(0, 0, 0, 0), snow(240, 0, 0, 1), snow(-240, 160, 20, 2), snow(0, -200, 40, 3),
                   snow(8, -206, 42, 4)};
  cull::decide(flight, {});
  for (int i = 0; i < 4; ++i) EXPECT_EQ(flight.frames[i].decision.repeat_of, "") << i;
  EXPECT_EQ(flight.frames[4].decision.repeat_of, "F3.jpg");
}

/// A flight over `ground()` with even texture (grass near the lens) in place of some frames.
FlightRecord flight_with_grass_at(const std::vector<int>& where) {
  const cv::Mat map = ground();
  cv::Mat bytes, grass;
  test::noisy(cv::Mat(400, 600, CV_32F, cv::Scalar(110)), 30, 9).convertTo(bytes, CV_8U);
  cv::cvtColor(bytes, grass, cv::COLOR_GRAY2BGR);
  FlightRecord flight;
  for (int i = 0; i < 12; ++i) {
    const bool low = std::find(where.begin(), where.end(), i) != where.end();
    flight.frames.push_back(
        hovering(low ? grass : view_of(map, 60.0 * i - 330, 40.0 * (i % 3) - 40, 15 * i), 1.5, i));
  }
  return flight;
}

TEST(Views, LaunchAndLandingAreNoViewsOfTheGround) {
  FlightRecord flight = flight_with_grass_at({0, 1, 11});
  cull::Options options;
  options.keep_repeats = true;
  cull::decide(flight, options);
  for (const int i : {0, 1, 11}) {
    EXPECT_EQ(flight.frames[i].decision.view, View::other) << i;
    EXPECT_NE(flight.frames[i].decision.verdict, Verdict::keep) << i;
    EXPECT_TRUE(find(flight.frames[i].decision, "unlike the other frames")) << i;
  }
  for (int i = 2; i < 11; ++i) EXPECT_EQ(flight.frames[i].decision.view, View::nadir) << i;
}

TEST(Views, AmidTheFlightLooksAloneSayNothing) {
  FlightRecord flight = flight_with_grass_at({5});
  cull::decide(flight, {});
  for (int i = 0; i < 12; ++i) EXPECT_EQ(flight.frames[i].decision.view, View::nadir) << i;
}

TEST(Views, FlightOverEvenGroundAloneHasNoLaunch) {
  FlightRecord flight = flight_with_grass_at({0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11});
  cull::decide(flight, {});
  for (const auto& frame : flight.frames) EXPECT_EQ(frame.decision.view, View::nadir);
}

TEST(Views, AGlanceCountsOnlyWhereTheHorizonWasNotLookedFor) {
  FlightRecord flight;
  flight.frames = {frame_with(1.4, 0, 0), frame_with(1.4, 0, 1), frame_with(1.4, 0, 2)};
  flight.frames[2].horizon_looked_for = true;
  cull::decide(flight, {}, {2.5, -3.0, 2.5});
  EXPECT_EQ(flight.frames[0].decision.view, View::horizon);
  EXPECT_EQ(flight.frames[1].decision.view, View::nadir);
  EXPECT_EQ(flight.frames[2].decision.view, View::nadir);
}

TEST(NearDuplicates, AreKeptWhenAskedFor) {
  const cv::Mat map = ground();
  FlightRecord flight;
  flight.frames = {hovering(view_of(map, 0, 0, 0), 1.5, 0), hovering(view_of(map, 5, 5, 1), 1.5, 1)};
  cull::Options options;
  options.keep_repeats = true;
  cull::decide(flight, options);
  for (const auto& frame : flight.frames) EXPECT_EQ(frame.decision.verdict, Verdict::keep);
}

}  // namespace
}  // namespace lookdown
