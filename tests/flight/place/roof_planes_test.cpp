// Flat roofs over painted ground, held against the heights and outlines that they were painted with.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "placed_flight.h"
#include "plane_score.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;

class RoofPlanes : public ::testing::Test {
 protected:
  [[nodiscard]] fs::path frames() const { return folder_.path() / "frames"; }
  [[nodiscard]] fs::path out() const { return folder_.path() / "out"; }
  /// Ground and planes against truth.
  [[nodiscard]] std::pair<bench::PlacementScore, bench::PlaneScore> scores() const {
    const fs::path truth = frames() / "truth.json", placement = out() / "placement.json";
    const auto score = bench::score_placement(truth, placement);
    return {score, bench::score_planes(truth, placement, score)};
  }
  static SmallFlight with_roofs(unsigned seed) {
    SmallFlight f;
    f.site.sheds = 3;
    f.site.littered_roofs = true;
    f.site.shed_height = 70;
    f.flight.seed = f.site.seed = seed;
    return f;
  }
  TemporaryFolder folder_;
};

TEST_F(RoofPlanes, AFlatRoofIsAPlaneAtItsHeightAndDoesNotBendTheGround) {
  with_roofs(41).take_into(frames());
  place_folder(frames(), out());
  const auto [ground, planes] = scores();
  EXPECT_LE(ground.rmse_px, 0.5);
  ASSERT_FALSE(planes.found.empty());
  EXPECT_GE(planes.true_roofs_found, 2);
  for (const bench::FoundRoof& roof : planes.found) {
    EXPECT_NEAR(roof.height, 70, 0.01 * 70);
    EXPECT_NEAR(roof.height, 70, 3 * roof.sigma);
    EXPECT_GE(roof.share_inside, 0.75);
  }
}

TEST_F(RoofPlanes, FlatGroundHasNoPlaneBesidesItself) {
  SmallFlight f;
  f.site.ponds = 2;
  f.flight.swing_deg = 6;
  f.flight.k1 = -0.2;
  f.flight.seed = f.site.seed = 42;
  f.take_into(frames());
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(flight.placement.plane_heights, std::vector<double>{0});
  EXPECT_TRUE(flight.placement.raised_planes.empty());
}

TEST_F(RoofPlanes, TheMosaicShowsTheChosenPlaneStraightDown) {
  with_roofs(43).take_into(frames());
  const auto mosaic = [&](std::vector<std::string> words) {
    words.insert(words.begin(), {"run", frames().string(), "-o", out().string()});
    const ProgramRun run = run_lookdown(words);
    EXPECT_EQ(run.exit_code, 0) << run.errors;
    return cv::imread((out() / "mosaic.jpg").string());
  };
  const cv::Mat ground = mosaic({});
  const auto placement = nlohmann::json::parse(std::ifstream(out() / "placement.json"));
  ASSERT_GE(placement["planes"].size(), 2U);
  const std::string height = placement["planes"][1]["height"].dump();
  const cv::Mat roof = mosaic({"--show-plane", "1"}), same = mosaic({"--plane-height-m", height});
  ASSERT_EQ(roof.size(), same.size());
  EXPECT_EQ(cv::norm(roof, same, cv::NORM_INF), 0);
  ASSERT_EQ(roof.size(), ground.size());
  EXPECT_GT(cv::norm(roof, ground, cv::NORM_L1) / double(roof.total()), 3);
}

}  // namespace
}  // namespace lookdown
