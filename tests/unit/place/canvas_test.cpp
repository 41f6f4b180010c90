#include "stages/place/canvas.h"

#include <gtest/gtest.h>

namespace lookdown::place {
namespace {

// A camera straight down from 100: over level ground at 0 its right rim shows x = 100 (width - 1) / 2 / f, on
// a bank that rises by 0.4 to the east only x / (1 + 0.4 x / 100).
TEST(Canvas, HoldsWhatAFrameSeesWhereItsSlopeDoesNotGoOn) {
  CanvasFrame frame;
  frame.camera = assumed_camera(1001, 801);
  frame.pose = straight_down({0, 0, 100});
  const double level = 100 * 500 / frame.camera.fx_px, bank = level / (1 + 0.4 * level / 100);
  frame.ground = {0.4, 0, 0};
  const auto east = [&] {
    const Canvas canvas = choose_canvas({frame}, 0.1);
    return canvas.west + canvas.gsd * canvas.width_px;
  };
  EXPECT_NEAR(east(), bank, 0.2);
  frame.below = 1;  // the ground is known not to be that plane
  EXPECT_GE(east(), level);
  EXPECT_NEAR(east(), level, 0.02 * level);
}

}  // namespace
}  // namespace lookdown::place
