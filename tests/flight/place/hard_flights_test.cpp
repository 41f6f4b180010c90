// Classes of difficult flights over painted ground, each held against the poses that it was painted with. The
// painter uses OpenCV's own undistortPoints and shares no geometry with the program. None of the frames
// carries Exif: the focal length starts from its assumption (28 mm on 36 mm film, 14 % from the truth here)
// and is refined.
#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "placed_flight.h"

namespace lookdown {
namespace {

/// Snow in mist: `share` of each picture's contrast about a light grey, and grain.
void bleach(const std::filesystem::path& frames, double share) {
  cv::RNG random(7);
  for (const auto& entry : std::filesystem::directory_iterator(frames)) {
    if (entry.path().extension() != ".jpg") continue;
    cv::Mat picture = cv::imread(entry.path().string()), pale, grain(picture.size(), CV_32FC3);
    picture.convertTo(pale, CV_32FC3, share, 205 - share * cv::mean(picture)[1]);
    random.fill(grain, cv::RNG::NORMAL, 0, 1.5);
    cv::Mat(pale + grain).convertTo(picture, CV_8UC3);
    cv::imwrite(entry.path().string(), picture, {cv::IMWRITE_JPEG_QUALITY, 85});
  }
}

bench::PlacementScore placed(const SmallFlight& flight, double contrast_left = 1) {
  const TemporaryFolder folder;
  flight.take_into(folder.path() / "frames");
  if (contrast_left < 1) bleach(folder.path() / "frames", contrast_left);
  place_folder(folder.path() / "frames", folder.path() / "out");
  return bench::score_placement(folder.path() / "frames" / "truth.json",
                                folder.path() / "out" / "placement.json");
}

void expect_whole_and_exact(const bench::PlacementScore& score) {
  EXPECT_EQ(score.sharp_nadir_in_first_group, score.sharp_nadir);
  EXPECT_LE(score.rmse_px, 1.0);
  EXPECT_LE(score.median_off_nadir_error_deg, 0.4);
}

TEST(HardFlights, AQuarterOverlapStrongExposureStepsAndTurnedPicturesAreJoined) {
  SmallFlight f;
  f.flight.overlap = 0.27;
  f.flight.swing_deg = 2.5;
  f.flight.exposure_stops = 2;
  f.flight.portrait_share = 0.4;
  f.flight.seed = f.site.seed = 11;
  expect_whole_and_exact(placed(f));
}

TEST(HardFlights, TwelveDegreesOfSwingAndHeightsOfOneToThreeAreJoinedAndGiveTheFocalLength) {
  SmallFlight f;
  f.flight.swing_deg = 6;
  f.flight.height_ratio = 3;
  f.flight.seed = f.site.seed = 12;
  const auto score = placed(f);
  expect_whole_and_exact(score);
  EXPECT_LE(std::abs(score.focal_error_share), 0.01);
}

TEST(HardFlights, GroundThatRepeatsItselfUnderABarrelLensIsJoined) {
  SmallFlight f;
  f.site.rows_of_tiles = true;
  f.flight.k1 = -0.28;
  f.flight.k2 = 0.08;
  f.flight.seed = f.site.seed = 13;
  expect_whole_and_exact(placed(f));
}

TEST(HardFlights, GroundThatHardlyShowsIsJoined) {
  SmallFlight f;
  f.flight.rows = 2;
  f.flight.seed = f.site.seed = 23;
  expect_whole_and_exact(placed(f, 0.08));
}

// Rays by cv::fisheye. Nothing tells the program of the projection; the focal length starts 39 % off.
TEST(HardFlights, AFisheyeOfWhichNothingIsKnownIsJoined) {
  SmallFlight f;
  f.flight.fisheye = true;
  f.flight.focal_px = 0.56 * f.flight.width_px;
  f.flight.seed = f.site.seed = 16;
  expect_whole_and_exact(placed(f));
}

TEST(HardFlights, RibbedRoofsOffTheGroundAndMovingWaterDoNotBendIt) {
  SmallFlight f;
  f.site.sheds = 4;
  f.site.ponds = 3;
  f.flight.blurred_share = 0.2;
  f.flight.seed = f.site.seed = 14;
  expect_whole_and_exact(placed(f));
}

}  // namespace
}  // namespace lookdown
