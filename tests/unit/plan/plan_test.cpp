#include "stages/plan/plan.h"
#include "pipeline/base/angles.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <sstream>
#include <stdexcept>

namespace lookdown::plan {
namespace {

using testing::HasSubstr;

Options ponds_in_june() {
  Options o;
  o.lat_deg = 45;
  o.lon_deg = 10;
  o.date = "2025-06-21";
  o.utc_offset_h = 2;
  return o;
}

// GSD = H p / f; p = 2.412 um, f = 8.8 mm, 5472 x 3648 at 30 m: 8.2227 mm, 44.99 x 30.00 m (derived).
TEST(Shot, GroundSampleDistanceAndFootprintFollowTheLens) {
  Options o;
  o.pixel_um = 2.412;
  const Shot shot = shot_of(o);
  EXPECT_NEAR(shot.ground_sample_distance_m, 8.2227e-3, 5e-8);
  EXPECT_NEAR(shot.footprint_width_m, 44.99, 0.01);
  EXPECT_NEAR(shot.footprint_height_m, 30.00, 0.01);
}

// v t f/(H p), w t f/p: 80 km/h, 1/1000 s, 28 mm, 4 um, 120 m: 1.296 px; 0.3 rad/s: 2.10 px (derived). Taking
// km/h for m/s gives 4.667 px, a slip that has been in print.
TEST(Shot, SmearIsInMetresPerSecond) {
  EXPECT_NEAR(drift_smear_px(80 / 3.6, 1e-3, 28e-3, 120, 4e-6), 1.296, 5e-4);
  EXPECT_NEAR(swing_smear_px(0.3, 1e-3, 28e-3, 4e-6), 2.10, 5e-3);
}

TEST(Shot, ShutterForOnePixelGivesOnePixel) {
  Options o = ponds_in_june();
  o.shutter_s = shot_of(o).shutter_for_one_px_s;
  EXPECT_NEAR(shot_of(o).smear_px, 1, 1e-9);
}

// 50 mm at f/8 with a circle of 0.03 mm: hyperfocal 10.467 m; focused there, sharp from half of it to
// infinity (thin-lens formulas).
TEST(DepthOfField, HyperfocalFocusReachesInfinity) {
  const DepthOfField at = depth_of_field(0.05, 8, 3e-5, 5);
  EXPECT_NEAR(at.hyperfocal_m, 10.4667, 1e-3);
  EXPECT_NEAR(at.near_m, 5 * 10.416667 / (10.466667 + 5 - 0.1), 1e-4);
  ASSERT_TRUE(at.far_m);
  EXPECT_NEAR(*at.far_m, 5 * 10.416667 / 5.466667, 1e-3);
  const DepthOfField there = depth_of_field(0.05, 8, 3e-5, at.hyperfocal_m);
  EXPECT_FALSE(there.far_m);
  EXPECT_NEAR(there.near_m, at.hyperfocal_m / 2, 1e-3);
}

// The image of a point on the near limit blurs to exactly the circle: c = A |v - v'| / v' (thin lens).
TEST(DepthOfField, NearLimitBlursToTheCircle) {
  const double f = 0.0088, number = 2.8, circle = 5e-6, distance = 3;
  const DepthOfField depth = depth_of_field(f, number, circle, distance);
  const auto image = [&](double u) { return u * f / (u - f); };
  const double blur = f / number * std::abs(image(depth.near_m) - image(distance)) / image(depth.near_m);
  EXPECT_NEAR(blur, circle, 1e-8);
}

TEST(Shot, FramesCoverTheAreaWithTheWantedOverlap) {
  const Options o = ponds_in_june();
  const Shot s = shot_of(o);
  const double reached = s.footprint_height_m + (s.frames_in_line - 1) * s.forward_spacing_m;
  EXPECT_GE(reached, o.area_length_m - 1e-9);
  EXPECT_LT(reached - s.forward_spacing_m, o.area_length_m);
  EXPECT_NEAR(1 - s.forward_spacing_m / s.footprint_height_m, 0.6, 1e-9);
  EXPECT_EQ(s.frames, s.lines * s.frames_in_line);
}

// Half of the field's diagonal decides at which elevation the mirror image can enter at all (derived).
TEST(Rows, GlintEntersWithTheHighSun) {
  Options o = ponds_in_june();
  o.wind_m_s = 0;
  const Plan plan = make_plan(o);
  ASSERT_FALSE(plan.rows.empty());
  for (const Row& row : plan.rows) {
    const bool can_enter = row.sun.elevation_deg > plan.shot.clear_below_elevation_deg;
    EXPECT_EQ(row.glint == Glint::in_frame || row.glint == Glint::out_if_turned, can_enter)
        << row.minute_of_day;
    EXPECT_NEAR(row.shadow_per_m, 1 / std::tan(row.sun.elevation_deg * kDegree), 1e-12);
  }
}

TEST(Rows, TiltThrowsTheMirrorImageOutAwayFromTheSun) {
  Options o = ponds_in_june();
  o.focal_mm = 5;
  const Plan plan = make_plan(o);
  const auto noon = std::max_element(plan.rows.begin(), plan.rows.end(), [](const Row& a, const Row& b) {
    return a.sun.elevation_deg < b.sun.elevation_deg;
  });
  ASSERT_TRUE(noon->tilt_deg && noon->tilt_toward_deg);
  EXPECT_NEAR(std::remainder(*noon->tilt_toward_deg - noon->sun.azimuth_deg - 180, 360), 0, 1e-9);
  const double edge_after_tilt = 0.5 * plan.shot.field_height_deg - *noon->tilt_deg;
  EXPECT_NEAR(noon->mirror_off_nadir_deg - edge_after_tilt, plan.shot.glitter_half_width_deg, 1e-9);
}

TEST(Rows, DrySurfacesHaveNoGlint) {
  Options o = ponds_in_june();
  o.surface = "roof";
  o.surface_height_m = 5;
  const Plan plan = make_plan(o);
  EXPECT_DOUBLE_EQ(plan.shot.range_m, 25);
  for (const Row& row : plan.rows) EXPECT_EQ(row.glint, Glint::none);
}

TEST(Rows, PolarNightHasNone) {
  Options o = ponds_in_june();
  o.lat_deg = 80;
  o.date = "2025-12-21";
  const Plan plan = make_plan(o);
  EXPECT_TRUE(plan.rows.empty());
  EXPECT_THAT(text_of(plan), HasSubstr("does not rise"));
}

TEST(Rows, WithoutAClockOffsetTheTableSaysThatItIsInUtc) {
  Options o = ponds_in_june();
  o.utc_offset_h.reset();
  EXPECT_THAT(text_of(make_plan(o)), HasSubstr("UTC, because no --utc-offset-h was given"));
}

// Inside a window the mirror point stands farther off than half the diagonal and the glitter round it; at
// noon in June at 45 degrees north the sun stands 68 degrees high (90 - 45 + 23.4) and its mirror image 22
// degrees off straight down, within a field of 64 x 46 degrees (derived).
TEST(Windows, AreFreeOfGlintAndStandBeforeAllNumbers) {
  const Plan plan = make_plan(ponds_in_june());
  ASSERT_TRUE(plan.daylight);
  ASSERT_EQ(plan.without_glint.size(), 2U) << "morning and evening";
  const Options o = ponds_in_june();
  for (const Window& window : plan.without_glint) {
    EXPECT_GE(window.from_minute, plan.daylight->from_minute);
    EXPECT_LE(window.to_minute, plan.daylight->to_minute);
    EXPECT_FALSE(window.from_minute <= 13 * 60 + 20 && window.to_minute >= 13 * 60 + 20) << "solar noon";
    for (const Row& row : plan.rows)
      if (row.minute_of_day >= window.from_minute && row.minute_of_day <= window.to_minute) {
        EXPECT_EQ(row.glint, Glint::out_of_frame) << row.minute_of_day;
      }
  }
  const std::string text = text_of(plan);
  EXPECT_LT(text.find("Best times: "), text.find("ground sample distance"));
  EXPECT_THAT(text, HasSubstr("8.8 mm lens"));
}

FlightRecord smeared_flight() {
  FlightRecord flight;
  flight.options_json = R"({"lat-deg": 44.5, "lon-deg": 9.5, "utc-offset-h": 2})";
  flight.placement.gsd_m = 0.01;
  flight.placement.groups = 1;
  for (int i = 0; i < 8; ++i) {
    FrameRecord frame;
    frame.source.file = "f" + std::to_string(i);
    frame.source.width_px = 4000, frame.source.height_px = 3000;
    frame.info.model = "Camera One";
    frame.info.camera_id = "one";
    frame.info.focal_length_mm = 8;
    frame.info.exposure_s = 1.0 / 500;
    frame.info.taken_at_s = 1000 + 2 * i;
    frame.info.camera.fx_px = frame.info.camera.fy_px = 4000;
    frame.sharpness = Sharpness{};
    frame.sharpness->smear_px = 4;
    frame.placement.placed = true;
    frame.placement.group = 0;
    frame.placement.camera = frame.info.camera;
    frame.placement.pose.centre = {18.0 * i, 0, 40};
    flight.frames.push_back(frame);
  }
  return flight;
}

// 4 px in 1/500 s are 1 px in 1/2000 s; 40 m over 4000 px of focal length are 10 mm a pixel; frames 18 m
// apart with a footprint of 3000 x 10 mm along the path overlap by 40 % (derived).
TEST(Experience, OneFlightTeachesTheNext) {
  Options o;
  const std::vector<std::string> advice = learn_from(smeared_flight(), o);
  o.date = "2025-06-21";
  EXPECT_EQ(o.lat_deg, 44.5);
  EXPECT_EQ(o.utc_offset_h, 2);
  EXPECT_DOUBLE_EQ(o.height_m, 40);
  const Plan plan = make_plan(o);
  EXPECT_NEAR(plan.shot.ground_sample_distance_m, 0.01, 1e-9);
  EXPECT_NEAR(plan.shot.smear_px, 4, 1e-6);
  EXPECT_NEAR(1 / plan.shot.shutter_for_one_px_s, 2000, 1e-3);
  std::string all;
  for (const std::string& each : advice) all += each + "\n";
  EXPECT_THAT(all, HasSubstr("take 1/2000 s"));
  EXPECT_THAT(all, HasSubstr("40 % overlap"));
  // 60 % of a 30 m footprint leave 12 m a step: two thirds of 2 s.
  EXPECT_THAT(all, HasSubstr("take one every 1.3 s instead of 2.0 s"));
  o.advice = advice;
  EXPECT_THAT(text_of(make_plan(o)), HasSubstr("Camera One"));
}

// Most cameras on a line write no position: what lens and motion do needs none.
TEST(Experience, WithoutAPlaceLensAndMotionAreToldAndTheSunIsNot) {
  Options o;
  o.date = "2025-06-21";
  o.from = "flight3";
  FlightRecord flight = smeared_flight();
  for (FrameRecord& frame : flight.frames) frame.info.position.reset();
  flight.options_json = "{}";
  o.advice = learn_from(flight, o);
  ASSERT_FALSE(has_place(o));
  const Plan plan = make_plan(o);
  EXPECT_TRUE(plan.rows.empty());
  const std::string text = text_of(plan);
  EXPECT_THAT(text, HasSubstr("give --lat-deg and --lon-deg"));
  EXPECT_THAT(text, HasSubstr("under one pixel"));
  EXPECT_THAT(text, HasSubstr("take 1/2000 s"));
}

TEST(Experience, AFlightThatTellsNothingIsNoExperience) {
  Options o;
  EXPECT_THROW((void)learn_from(FlightRecord{}, o), std::invalid_argument);
}

TEST(Options, WrongOnesAreNamed) {
  const auto message = [](const Options& o) {
    try {
      static_cast<void>(make_plan(o));
    } catch (const std::invalid_argument& error) {
      return std::string(error.what());
    }
    return std::string();
  };
  Options o = ponds_in_june();
  o.date = "2025-02-30";
  EXPECT_THAT(message(o), HasSubstr("date"));
  o.date = "tomorrow";
  EXPECT_THAT(message(o), HasSubstr("date"));
  o = ponds_in_june();
  o.lat_deg.reset();
  EXPECT_THAT(message(o), HasSubstr("lat-deg"));
  o = ponds_in_june();
  o.surface_height_m = 40;
  EXPECT_THAT(message(o), HasSubstr("subject-height-m"));
}

TEST(Writers, TableCsvAndPlotCarryEveryRowAndTheCautions) {
  const Plan plan = make_plan(ponds_in_june());
  const std::string csv = csv_of(plan);
  EXPECT_EQ(std::count(csv.begin(), csv.end(), '\n'), static_cast<long>(plan.rows.size()) + 1);
  std::istringstream lines(csv);
  std::string line;
  std::getline(lines, line);
  const auto columns = std::count(line.begin(), line.end(), ',');
  while (std::getline(lines, line)) EXPECT_EQ(std::count(line.begin(), line.end(), ','), columns);
  const std::string text = text_of(plan);
  EXPECT_THAT(text, HasSubstr("power lines"));
  EXPECT_THAT(text, HasSubstr("Local rules decide"));
  EXPECT_THAT(svg_of(plan), HasSubstr("</svg>"));
}

}  // namespace
}  // namespace lookdown::plan
