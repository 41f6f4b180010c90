// Flights that are not one flight over one piece of ground: each must end in something sensible, with a
// reason for every frame left out.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "placed_flight.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;

int placed_in_group(const FlightRecord& flight, int group, const std::string& prefix) {
  int count = 0;
  for (const FrameRecord& f : flight.frames)
    count += f.placement.placed && f.placement.group == group &&
             fs::path(f.source.file).filename().string().starts_with(prefix);
  return count;
}

void expect_reasons(const FlightRecord& flight) {
  for (const FrameRecord& f : flight.frames)
    EXPECT_NE(f.placement.placed, !f.placement.why_not.empty()) << f.source.file;
}

class SpecialFlights : public ::testing::Test {
 protected:
  [[nodiscard]] fs::path frames() const { return folder_.path() / "frames"; }
  [[nodiscard]] fs::path out() const { return folder_.path() / "out"; }
  TemporaryFolder folder_;
};

TEST_F(SpecialFlights, TwoSitesBecomeTwoGroupsTheLargerFirstAndTheReportSaysSo) {
  SmallFlight large, small;
  small.flight.columns = 2;
  small.flight.rows = 2;
  large.flight.seed = large.site.seed = 21;
  small.flight.seed = small.site.seed = 22;
  small.take_into(frames(), "A");
  large.take_into(frames(), "B");
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(flight.placement.groups, 2);
  EXPECT_EQ(placed_in_group(flight, 0, "B"), 9);
  EXPECT_EQ(placed_in_group(flight, 1, "A"), 4);
  EXPECT_THAT(flight.warnings, ::testing::Contains(::testing::AllOf(::testing::HasSubstr("not connected"),
                                                                    ::testing::HasSubstr("--part 2"))));
  expect_reasons(flight);
  place::Options second;
  second.part = 2;
  const FlightRecord other = place_folder(frames(), out(), second);
  EXPECT_EQ(placed_in_group(other, 0, "A"), 4);
  EXPECT_EQ(placed_in_group(other, 1, "B"), 9);
  // Four frames of 640 x 480, half overlapping: their canvas is near that of two by two.
  EXPECT_LT(other.placement.mosaic_width_px, flight.placement.mosaic_width_px);
}

TEST_F(SpecialFlights, APartOfTheRigInEveryFrameDoesNotJoinTwoSites) {
  SmallFlight here, there;
  here.flight.rows = there.flight.rows = 2;
  there.flight.columns = 2;
  here.flight.rig_in_view = there.flight.rig_in_view = true;
  here.flight.seed = here.site.seed = 31;
  there.flight.seed = there.site.seed = 32;
  here.take_into(frames(), "A");
  there.take_into(frames(), "B");
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(flight.placement.groups, 2);
  EXPECT_EQ(placed_in_group(flight, 0, "A"), 6);
  EXPECT_EQ(placed_in_group(flight, 1, "B"), 4);
}

TEST_F(SpecialFlights, AFrameOfAnotherPlaceIsLeftOutForWantOfOverlap) {
  SmallFlight here, elsewhere;
  here.flight.rows = 2;
  elsewhere.flight.columns = elsewhere.flight.rows = 1;
  here.flight.seed = here.site.seed = 23;
  elsewhere.flight.seed = elsewhere.site.seed = 24;
  here.take_into(frames(), "A");
  elsewhere.take_into(frames(), "B");
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(placed_in_group(flight, 0, "A"), 6);
  const FrameRecord& stranger = frame_named(flight, "B001.jpg");
  EXPECT_FALSE(stranger.placement.placed);
  EXPECT_EQ(stranger.placement.why_not, "no overlap found");
}

TEST_F(SpecialFlights, APictureOfTwoPlacesAtOnceIsInconsistentAndItsNeighboursAreNot) {
  SmallFlight f;
  f.flight.columns = 4;
  f.flight.rows = 3;
  f.flight.seed = f.site.seed = 34;
  f.take_into(frames(), "A");
  const auto picture = [&](const char* name) { return cv::imread((frames() / name).string()); };
  cv::Mat both = picture("A001.jpg");
  const cv::Rect right(both.cols / 2, 0, both.cols - both.cols / 2, both.rows);
  picture("A012.jpg")(right).copyTo(both(right));
  cv::imwrite((frames() / "B001.jpg").string(), both, {cv::IMWRITE_JPEG_QUALITY, 92});
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(placed_in_group(flight, 0, "A"), 12);
  const FrameRecord& composed = frame_named(flight, "B001.jpg");
  EXPECT_FALSE(composed.placement.placed);
  EXPECT_EQ(composed.placement.why_not, "inconsistent");
  expect_reasons(flight);
}

TEST_F(SpecialFlights, TwoStripsThatTouchInOneCornerAreJoined) {
  const SmallFlight f;
  painted::SiteChoice site;
  site.seed = 37;
  const double height = f.flight.focal_px, east = 0.77 * f.flight.width_px, north = 0.75 * f.flight.height_px;
  std::vector<painted::Shot> shots;
  for (int strip = 0; strip < 2; ++strip)
    for (int i = 0; i < 3; ++i) {
      const std::string file = "A00" + std::to_string(3 * strip + i + 1) + ".jpg";
      const Eigen::Vector3d centre(500 + 270 * i + strip * (540 + east), 600 + strip * north, height);
      shots.push_back(painted::shot(file, centre, 0, 0.02 * (i - 1), 0.015 * (strip + 1)));
    }
  painted::take_all(painted::paint_site(site), painted::camera_of(f.flight), shots, frames());
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(placed_in_group(flight, 0, "A"), 6);
  EXPECT_LE(bench::score_placement(frames() / "truth.json", out() / "placement.json").rmse_px, 2);
}

TEST_F(SpecialFlights, MirroredCopiesAreNeverJoinedWithTheirOriginals) {
  SmallFlight f;
  f.flight.rows = 2;
  f.flight.seed = f.site.seed = 25;
  f.take_into(frames(), "A");
  for (int i = 1; i <= 3; ++i) {
    cv::Mat mirrored;
    cv::flip(cv::imread((frames() / ("A00" + std::to_string(i) + ".jpg")).string()), mirrored, 1);
    cv::imwrite((frames() / ("M00" + std::to_string(i) + ".jpg")).string(), mirrored);
  }
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(placed_in_group(flight, 0, "A"), 6);
  EXPECT_EQ(placed_in_group(flight, 0, "M"), 0);
  expect_reasons(flight);
}

TEST_F(SpecialFlights, TheSameFrameManyTimesLiesOnItself) {
  SmallFlight f;
  f.flight.columns = f.flight.rows = 1;
  f.flight.seed = f.site.seed = 26;
  f.take_into(frames(), "A");
  const cv::Mat picture = cv::imread((frames() / "A001.jpg").string());
  for (int i = 2; i <= 6; ++i)
    cv::imwrite((frames() / ("A00" + std::to_string(i) + ".jpg")).string(), picture,
                {cv::IMWRITE_JPEG_QUALITY, 95 - i});
  const FlightRecord flight = place_folder(frames(), out());
  EXPECT_EQ(placed_in_group(flight, 0, "A"), 6);
  const auto corner = [&](const FrameRecord& frame) {
    const auto at = frame.placement.mosaic_from_frame * frame.placement.camera.undistort({10, 10});
    return Eigen::Vector2d(at.x, at.y);
  };
  for (const FrameRecord& frame : flight.frames)
    EXPECT_LT((corner(frame) - corner(flight.frames[0])).norm(), 0.5) << frame.source.file;
  // Nothing in such a flight tells the tilt: it must not be claimed.
  EXPECT_GT(flight.frames[0].placement.off_nadir_sigma_deg, 3);
  EXPECT_LT(flight.placement.mosaic_width_px, 2 * f.flight.width_px);
}

TEST_F(SpecialFlights, TwoObliquesAloneDoNotClaimTiltsThatTheyCannotKnow) {
  const SmallFlight f;
  painted::SiteChoice site;
  site.seed = 33;
  const double height = f.flight.focal_px;
  const std::vector<painted::Shot> shots{painted::shot("A001.jpg", {1000, 600, height}, 0, 0.6, 0.05),
                                         painted::shot("A002.jpg", {1250, 620, height}, 0.2, 0.5, -0.1)};
  painted::take_all(painted::paint_site(site), painted::camera_of(f.flight), shots, frames());
  const FlightRecord flight = place_folder(frames(), out());
  for (const painted::Shot& s : shots) {
    const FramePlacement& p = frame_named(flight, s.file).placement;
    if (!p.placed) continue;
    const Eigen::Vector3d truth = -s.world_from_camera.row(2).transpose(),
                          found = -p.pose.world_from_camera.row(2).transpose();
    const double error_deg = std::atan2(truth.cross(found).norm(), truth.dot(found)) * 180 / CV_PI;
    EXPECT_LT(error_deg, 3 * p.off_nadir_sigma_deg) << s.file << ": " << off_nadir_deg(p.pose) << " claimed";
  }
}

TEST_F(SpecialFlights, OnlyWaterIsNotJoinedByItsWavesAndEveryFrameSaysWhy) {
  SmallFlight f;
  f.flight.columns = f.flight.rows = 2;
  f.flight.seed = f.site.seed = 27;
  f.site.all_water = true;
  f.take_into(frames(), "W");
  const FlightRecord flight = place_folder(frames(), out());
  int placed = 0;
  for (const FrameRecord& frame : flight.frames) placed += frame.placement.placed;
  EXPECT_LE(placed, 1) << "one frame may be laid down alone";
  expect_reasons(flight);
}

TEST_F(SpecialFlights, ThroughTheWholeProgramWaterAndBlurHaveTheirReasons) {
  SmallFlight land, water;
  land.flight.rows = 2;
  land.flight.seed = land.site.seed = 28;
  water.flight.columns = 2;
  water.flight.rows = 1;
  water.site.all_water = true;
  water.flight.seed = water.site.seed = 29;
  land.take_into(frames(), "L");
  water.take_into(frames(), "W");
  cv::Mat blurred;
  cv::GaussianBlur(cv::imread((frames() / "L003.jpg").string()), blurred, {}, 14);
  cv::imwrite((frames() / "L003.jpg").string(), blurred);
  const ProgramRun run = run_lookdown({"run", frames().string(), "-o", out().string(), "--no-cache"});
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  const auto placement = nlohmann::json::parse(std::ifstream(out() / "placement.json"));
  std::map<std::string, std::string> why;
  for (const auto& f : placement["not_placed"])
    why[fs::path(f["file"].get<std::string>()).filename()] = f["why"];
  EXPECT_EQ(why["L003.jpg"], "too blurred");
  for (const char* name : {"W001.jpg", "W002.jpg"})
    EXPECT_THAT(why[name],
                ::testing::AnyOf("only water", "too little detail", "no overlap found", "too blurred"))
        << name;
  EXPECT_EQ(placement["frames"].size(), 5U);
}

}  // namespace
}  // namespace lookdown
