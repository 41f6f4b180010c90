#include "stages/report/words/next_flight.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "stages/report/words/verdict_in_words.h"

namespace lookdown::report {
namespace {

using testing::Contains;
using testing::HasSubstr;
using testing::Not;

/// Ten frames whose smear runs from 0 to 9 px at 1/1000 s.
FlightRecord swinging_flight() {
  FlightRecord record;
  for (int i = 0; i < 10; ++i) {
    FrameRecord frame;
    frame.source.file = std::to_string(i);
    frame.source.width_px = 1200;
    frame.source.height_px = 800;
    frame.info.exposure_s = 0.001;
    frame.sharpness = Sharpness{};
    frame.sharpness->smear_px = i;
    record.frames.push_back(frame);
  }
  return record;
}

/// Straight down from `height` over x = step, 2 step, ...; a pixel is 0.01 m on the ground and in the mosaic.
FlightRecord level_row(int count, double step_m) {
  FlightRecord record;
  record.placement.gsd_m = 0.01;
  for (int i = 0; i < count; ++i) {
    FrameRecord frame;
    frame.source.width_px = 1200;
    frame.source.height_px = 800;
    FramePlacement& placement = frame.placement;
    placement.placed = true;
    placement.group = 0;
    placement.camera.width_px = 1200;
    placement.camera.height_px = 800;
    placement.camera.fx_px = placement.camera.fy_px = 1000;
    placement.camera.cx_px = 599.5;
    placement.camera.cy_px = 399.5;
    placement.pose = straight_down({step_m * i, 0, 10}, 0);
    Homography<MosaicPx, Ground> mosaic_from_ground;
    mosaic_from_ground.matrix << 100, 0, 0, 0, -100, 0, 0, 0, 1;
    placement.mosaic_from_frame = mosaic_from_ground * ground_from_frame(placement.pose, placement.camera);
    record.frames.push_back(frame);
  }
  return record;
}

// Nine of the ten smears are at most 8 px in 0.001 s: 8000 px/s, so that 1/8000 s lets one pixel pass.
TEST(ImageSpeed, IsWhatNineOfTenFramesKeepTo) {
  EXPECT_DOUBLE_EQ(8000, *image_speed_px_s(swinging_flight()));
  EXPECT_DOUBLE_EQ(1.0 / 8000, shutter_for_one_pixel_s(8000));
  EXPECT_THAT(next_flight_advice(swinging_flight()), Contains(HasSubstr("1/8000 s keeps that to one pixel")));
}

TEST(ImageSpeed, IsNotToldFromAFewFrames) {
  FlightRecord record = swinging_flight();
  record.frames.resize(4);
  EXPECT_FALSE(image_speed_px_s(record));
}

TEST(Shutter, IsTheNextUsualTimeThatIsShortEnough) {
  EXPECT_DOUBLE_EQ(1.0 / 1250, shutter_for_one_pixel_s(1001));
  EXPECT_DOUBLE_EQ(1.0 / 30, shutter_for_one_pixel_s(3));
}

// The frame covers 12 m x 8 m; steps of 3 m along its long side leave 9 m of 12 shared.
TEST(ForwardOverlap, IsTheSharedPartOfTheGround) {
  EXPECT_NEAR(0.75, *forward_overlap_share(level_row(6, 3)), 1e-3);
  EXPECT_NEAR(0, *forward_overlap_share(level_row(6, 13)), 1e-3);
  EXPECT_FALSE(forward_overlap_share(level_row(3, 3)));
}

// 60 % along the short side of 8 m leaves steps of 3.2 m, 30 % of the long side of 12 m leaves lines 8.4 m
// apart.
TEST(Advice, GivesSpacingInMetresWhereTheScaleIsKnown) {
  EXPECT_THAT(next_flight_advice(level_row(6, 3)),
              Contains(testing::AllOf(HasSubstr("3.20 m apart"), HasSubstr("8.40 m apart"))));
  FlightRecord without = level_row(6, 3);
  without.placement.gsd_m.reset();
  EXPECT_THAT(next_flight_advice(without), Not(Contains(HasSubstr(" m apart"))));
}

TEST(Verdict, SaysWhatIsMissingAndNothingOfPlacesWhenOnlyCulled) {
  const FlightVerdict placed = flight_verdict(level_row(6, 3));
  EXPECT_THAT(placed.missing, Contains(HasSubstr("not tested")));
  const FlightVerdict culled = flight_verdict(swinging_flight());
  EXPECT_THAT(culled.headline, HasSubstr("of 10 frames"));
  EXPECT_TRUE(culled.missing.empty());
}

}  // namespace
}  // namespace lookdown::report
