#include "stages/place/horizon_views.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>

#include "pipeline/base/angles.h"

namespace lookdown::place {
namespace {

/// Straight down but for a turn about the frame's long side.
Pose turned_up(double deg) {
  Pose pose = straight_down({0, 0, 30});
  pose.world_from_camera =
      pose.world_from_camera * Eigen::AngleAxisd(deg * kDegree, Eigen::Vector3d::UnitX()).toRotationMatrix();
  return pose;
}

/// Frames at these angles off nadir, each tied to the next.
struct Placed {
  FlightRecord flight;
  std::vector<TieFrame> frames;
  std::vector<Tie> ties;
  Group group;

  explicit Placed(const std::vector<double>& off_nadir_deg) {
    Camera camera = assumed_camera(1200, 800);
    camera.fx_px = camera.fy_px = 933;  // 46 degrees high
    group.network.cameras = {camera};
    for (std::size_t i = 0; i < off_nadir_deg.size(); ++i) {
      flight.frames.emplace_back();
      flight.frames.back().decision.view = View::nadir;
      frames.push_back({static_cast<int>(i), camera, {}, {}, {}});
      group.members.push_back(static_cast<int>(i));
      group.network.camera_of_frame.push_back(0);
      group.network.poses.push_back(turned_up(off_nadir_deg[i]));
      group.held_firmly.push_back(true);
      if (i > 0) ties.push_back({static_cast<int>(i) - 1, static_cast<int>(i), {}, {}});
    }
  }

  void settle() { set_views_to_horizon_aside(frames, group, ties, flight); }
};

// Half the frame's height is 23.2 degrees: its upper rim sees the horizon from 66.8 degrees off nadir.
TEST(HorizonViews, AreSetAsideWhereTheirPlaceShowsTheHorizon) {
  Placed placed({3, -8, 66, 68, 5, -75});
  placed.settle();
  EXPECT_EQ(placed.group.held_firmly, (std::vector<bool>{true, true, true, false, true, false}));
  EXPECT_EQ(placed.flight.frames[3].decision.view, View::horizon);
  EXPECT_EQ(placed.flight.frames[3].placement.why_not, "looks at the horizon");
  EXPECT_EQ(placed.flight.frames[2].decision.view, View::nadir);
  ASSERT_EQ(placed.ties.size(), 2u);  // those of the two are gone
  EXPECT_EQ(placed.ties[1].b, 2);
}

TEST(HorizonViews, StayWhereTheTiltsAreAGuessOrAllLookThere) {
  Placed guess({3, 70, 5});
  guess.group.tilt_is_a_guess = true;
  guess.settle();
  EXPECT_TRUE(guess.group.held_firmly[1]);

  Placed all({70, 72, 5});
  for (int i : {0, 1}) all.flight.frames[static_cast<std::size_t>(i)].decision.view = View::horizon;
  all.settle();
  EXPECT_TRUE(all.group.held_firmly[0]);
}

}  // namespace
}  // namespace lookdown::place
