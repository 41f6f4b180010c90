#include "stages/glare/across/raised_planes.h"

#include <gtest/gtest.h>

namespace lookdown::glare {
namespace {

// A camera 40 m above level ground with a roof 5 m high, 8 to 12 m to the east: by similar triangles a point
// at height h and distance d from the point below shows at f d / (H - h) pixels from the frame's middle.
TEST(RaisedPlanes, AreShownWhereTheyLeanToWithTheirFeet) {
  PlacedCamera place;
  place.camera.width_px = place.camera.height_px = 1000;
  place.camera.fx_px = place.camera.fy_px = 1000;
  place.camera.cx_px = place.camera.cy_px = 500;
  place.pose = straight_down({0, 0, 40});
  place.mosaic_from_frame.matrix << 0.4, 0, 300, 0, 0.4, 300, 0, 0, 1;  // ten pixels a metre, north up
  FlightPlacement placement;
  placement.raised_planes.push_back(
      {5, 0.01, {{{{580, 480}}, {{620, 480}}, {{620, 520}}, {{580, 520}}}}, 40});

  const cv::Mat mask = raised_planes_in(placement, place, {1000, 1000});
  const auto shows = [&](double distance_m, double height_m) {
    return mask.at<uchar>(500, static_cast<int>(500 + 1000 * distance_m / (40 - height_m))) == 255;
  };
  EXPECT_TRUE(shows(10, 5));    // the roof's middle
  EXPECT_TRUE(shows(11.9, 5));  // its far edge
  EXPECT_TRUE(shows(8.1, 0));   // the foot of its near wall
  EXPECT_FALSE(shows(5, 0));    // the ground before it
  EXPECT_FALSE(shows(16, 0));   // the ground behind what it hides
  EXPECT_EQ(mask.at<uchar>(300, 785), 0);

  placement.raised_planes[0].height = -5;  // a pit holds water
  EXPECT_EQ(cv::countNonZero(raised_planes_in(placement, place, {1000, 1000})), 0);
}

}  // namespace
}  // namespace lookdown::glare
