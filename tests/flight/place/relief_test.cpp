// Flights over painted ground with relief: points met in space from the placement's rays, against where they
// were painted.
#include <gtest/gtest.h>

#include "placed_flight.h"

namespace lookdown {
namespace {

TEST(Relief, AFlightOverAValleyIsPlacedInSpace) {
  SmallFlight f;
  f.site.relief = "valley";
  f.site.relief_height = 0.2 * f.flight.focal_px;
  f.flight.seed = f.site.seed = 15;
  const TemporaryFolder folder;
  const auto frames = folder.path() / "frames", out = folder.path() / "out";
  f.take_into(frames);
  const FlightPlacement placement = place_folder(frames, out).placement;
  const auto score = bench::score_placement(frames / "truth.json", out / "placement.json");
  EXPECT_EQ(score.sharp_nadir_in_first_group, score.sharp_nadir);
  const auto space = bench::score_space(frames / "truth.json", out / "placement.json");
  EXPECT_GT(space.points, 40);
  // A height is known by H / B * sqrt(2) * 0.5 px, a keypoint being known to 0.5 px, with 0.4 for B / H of
  // neighbours that share 55 % of a frame's longer side (normal case of stereo: Kraus, Photogrammetry, vol.
  // 1). On the map 0.6 px are asked for.
  EXPECT_LE(space.horizontal_m / space.gsd_m, 0.6);
  EXPECT_LE(space.vertical_m / space.gsd_m, 1.8);
  // The painted ground reaches over relief_height. Half a per cent is left out at either end, and the flight
  // need not see the lowest and the highest place.
  const double reach_m = (placement.highest_tie_point - placement.lowest_tie_point) * space.gsd_m;
  EXPECT_GT(reach_m, 0.6 * f.site.relief_height);
  EXPECT_LT(reach_m, 1.1 * f.site.relief_height);
}

}  // namespace
}  // namespace lookdown
