#include "stages/glare/across/clearest_views.h"

#include <gtest/gtest.h>

namespace lookdown::glare {
namespace {

MaskedView view_at(double x_px, int index, cv::Rect glare) {
  MaskedView view;
  view.place.camera.width_px = 400;
  view.place.camera.height_px = 300;
  view.place.camera.fx_px = view.place.camera.fy_px = 350;
  view.place.camera.cx_px = 199.5;
  view.place.camera.cy_px = 149.5;
  view.place.mosaic_from_frame.matrix << 1, 0, x_px, 0, 1, 0, 0, 0, 1;
  view.glare = cv::Mat::zeros(300, 400, CV_8UC1);
  view.glare(glare).setTo(255);
  view.index = index;
  return view;
}

TEST(ClearestViews, NameTheFrameWithTheLeastGlareAtEachSpot) {
  // Both frames see mosaic columns 200..399; the glint of the first lies there, that of the second beyond the
  // first's reach.
  const auto spots =
      clearest_views({view_at(0, 3, {240, 100, 120, 100}), view_at(200, 7, {240, 100, 120, 100})}, 12, 0.02);
  ASSERT_FALSE(spots.empty());
  int shared = 0;
  for (const Spot& spot : spots) {
    EXPECT_GT(spot.worst_glare_share, 0.02);
    if (spot.views == 2 && spot.x_px > 260 && spot.x_px < 340) {
      ++shared;
      EXPECT_EQ(spot.frame, 7);
      EXPECT_EQ(spot.glare_share, 0);
    }
    if (spot.x_px > 450) {
      EXPECT_EQ(spot.views, 1) << "only the second looks there";
    }
  }
  EXPECT_GT(shared, 0);
}

TEST(ClearestViews, AreEmptyWithoutGlare) {
  EXPECT_TRUE(clearest_views({view_at(0, 0, {}), view_at(100, 1, {})}, 8, 0.02).empty());
  EXPECT_TRUE(clearest_views({}, 8, 0.02).empty());
}

TEST(ClearestViews, PreferTheFrameStraightAboveWhenNoneGlaresThere) {
  // The third frame alone glares on the spot; of the two clean ones the nearer centre wins.
  const auto spots = clearest_views(
      {view_at(-150, 0, {}), view_at(20, 1, {}), view_at(0, 2, {150, 100, 100, 100})}, 10, 0.02);
  ASSERT_FALSE(spots.empty());
  for (const Spot& spot : spots)
    if (spot.views == 3) {
      EXPECT_EQ(spot.frame, 1);
    }
}

}  // namespace
}  // namespace lookdown::glare
