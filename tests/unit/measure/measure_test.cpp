#include "stages/measure/measure.h"
#include "pipeline/base/angles.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/record/record_json.h"
#include "pipeline/record/run_context.h"
#include "stages/mosaic/mosaic.h"
#include "tests/unit/mosaic/small_flight.h"

#include <nlohmann/json.hpp>

namespace lookdown::measure {
namespace {

Ground metric_ground() {
  Ground ground;
  ground.width_px = 1000;
  ground.height_px = 800;
  ground.metric = true;
  ground.x0 = 500;
  ground.x_right = 0.02;
  ground.y0 = 300;
  ground.y_down = -0.02;
  ground.y_right = ground.x_down = 0;
  return ground;
}

TEST(Measure, PixelCentresLieHalfAPixelFromTheCorner) {
  const Ground ground = metric_ground();
  const Corner first = ground.ground_from_px({0, 0});
  EXPECT_DOUBLE_EQ(first.x, 500.01);
  EXPECT_DOUBLE_EQ(first.y, 299.99);
  const Corner back = ground.px_from_ground({500.01, 299.99});
  EXPECT_NEAR(back.x, 0, 1e-9);
  EXPECT_NEAR(back.y, 0, 1e-9);
}

TEST(Measure, RectangleHasItsLengthAndArea) {
  const Measured found =
      measure({"pond", Kind::area, {{501, 290}, {505, 290}, {505, 293}, {501, 293}}}, metric_ground(), false);
  EXPECT_NEAR(found.area->value, 12, 1e-9);
  EXPECT_NEAR(found.length->value, 14, 1e-9);
  EXPECT_TRUE(found.on_mosaic);
}

TEST(Measure, AreaDoesNotDependOnStartTurnOrDirection) {
  const std::vector<Corner> corners{{501, 290}, {506, 291}, {504, 295}, {502, 294}};
  const double area = measure({"a", Kind::area, corners}, metric_ground(), false).area->value;
  const std::vector<Corner> other{corners[2], corners[1], corners[0], corners[3]};
  EXPECT_NEAR(measure({"a", Kind::area, other}, metric_ground(), false).area->value, area, 1e-9);
}

TEST(Measure, NothingKnownOfTheAccuracyGivesNoSigma) {
  const Measured found = measure({"l", Kind::line, {{501, 290}, {504, 294}}}, metric_ground(), false);
  EXPECT_NEAR(found.length->value, 5, 1e-9);
  EXPECT_FALSE(found.length->sigma);
}

// First-order propagation, written out for a straight line: sigma_L^2 = 2 s^2 + (L sigma_scale)^2, s^2 =
// point^2 + (half a pixel)^2.
TEST(Measure, SigmaOfALengthFollowsFromPointsAndScale) {
  Ground ground = metric_ground();
  ground.point_sigma = 0.03;
  ground.scale_sigma_share = 0.004;
  const Measured found = measure({"l", Kind::line, {{501, 290}, {504, 294}}}, ground, false);
  ASSERT_TRUE(found.length->sigma);
  EXPECT_NEAR(*found.length->sigma, std::sqrt(2 * (0.03 * 0.03 + 0.01 * 0.01) + std::pow(5 * 0.004, 2)),
              1e-9);
}

// A square of side a whose corners err by s in each coordinate: each corner's derivative is half a diagonal,
// so sigma_A = s a sqrt(2).
TEST(Measure, SigmaOfASquaresArea) {
  Ground ground = metric_ground();
  ground.point_sigma = 0.03;
  ground.scale_sigma_share = 0;
  const Measured found =
      measure({"a", Kind::area, {{501, 290}, {505, 290}, {505, 294}, {501, 294}}}, ground, false);
  EXPECT_NEAR(*found.area->sigma, std::hypot(0.03, 0.01) * 4 * std::sqrt(2.0), 1e-9);
}

TEST(Measure, SaysWhenAShapeLeavesTheMosaic) {
  EXPECT_FALSE(measure({"p", Kind::point, {{499, 290}}}, metric_ground(), false).on_mosaic);
  EXPECT_TRUE(measure({"p", Kind::point, {{999, 799}}}, metric_ground(), true).on_mosaic);
}

TEST(Shapes, OfACsvTable) {
  const auto shapes = shapes_from_csv(
      "name,kind,x,y\npond,area,0,0\npond,area,4,0\npond,area,4,3\n\"stake, north\",,1.5,2\n", "t.csv");
  ASSERT_EQ(shapes.size(), 2U);
  EXPECT_EQ(shapes[0].kind, Kind::area);
  EXPECT_EQ(shapes[0].corners.size(), 3U);
  EXPECT_EQ(shapes[1].name, "stake, north");
  EXPECT_EQ(shapes[1].kind, Kind::point);
}

TEST(Shapes, CsvFaultsNameTheRow) {
  try {
    (void)shapes_from_csv("x,y\n1,2\n3,four\n", "t.csv");
    FAIL();
  } catch (const InputError& error) {
    EXPECT_NE(std::string(error.what()).find("t.csv, line 3"), std::string::npos) << error.what();
  }
  EXPECT_THROW((void)shapes_from_csv("name,kind,x,y\na,area,0,0\na,area,1,1\n", "t.csv"), InputError);
  EXPECT_THROW((void)shapes_from_csv("", "t.csv"), InputError);
}

// RFC 7946, appendix A: a point and a polygon whose ring is closed by repeating its first position.
TEST(Shapes, OfGeoJson) {
  const auto shapes = shapes_from_geojson(
      R"({"type":"FeatureCollection","features":[
        {"type":"Feature","properties":{"name":"here"},"geometry":{"type":"Point","coordinates":[100.0,0.0]}},
        {"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[100,0],[101,0],[101,1],[100,1],[100,0]]]}}]})",
      "t.json");
  ASSERT_EQ(shapes.size(), 2U);
  EXPECT_EQ(shapes[0].name, "here");
  EXPECT_EQ(shapes[1].corners.size(), 4U);
  EXPECT_THROW((void)shapes_from_geojson("{\"type\":", "t.json"), InputError);
}

TEST(Shapes, OfTheCommandLine) {
  Options options;
  options.lines = {"1,2 3,4 5,6"};
  options.points = {"7,8"};
  const auto shapes = shapes_of(options);
  ASSERT_EQ(shapes.size(), 2U);
  EXPECT_EQ(shapes[0].name, "point 1");
  EXPECT_EQ(shapes[1].corners.size(), 3U);
  options.lines = {"1;2 3;4"};
  EXPECT_THROW((void)shapes_of(options), InputError);
}

/// A mosaic with its placement.json, as a run leaves them.
test::SmallFlight flight_with_mosaic() {
  test::SmallFlight flight = test::make_small_flight({.columns = 4, .rows = 4, .tilt_deg = 1});
  const FrameReader reader;
  const Scheduler scheduler({2, 1'000'000'000});
  const Cache cache{""};
  Progress progress(false);
  RunContext context{flight.out, reader, scheduler, cache, progress};
  mosaic::Options options;
  options.ground_overlay = false;
  mosaic::build(flight.record, options, context);
  write_file(flight.out / "placement.json", placement_document(flight.record).dump());
  return flight;
}

TEST(Measure, ReadsTheGridOfAMosaic) {
  const test::SmallFlight flight = flight_with_mosaic();
  const Ground ground = open_ground(flight.out);
  EXPECT_TRUE(ground.metric);
  EXPECT_EQ(ground.width_px, flight.ground.cols);
  EXPECT_NEAR(ground.ground_from_px({-0.5, -0.5}).x, 440720, 1e-6);
  // 3 frames straight down at 2.1 to 2.3 m with f = 220 px: 9.5 to 10.5 mm a frame pixel, a little more
  // towards the edges by their tilt.
  for (const GsdSpot& spot : gsd_profile(flight.out, ground, 20)) {
    EXPECT_GT(spot.gsd, 0.0092);
    EXPECT_LT(spot.gsd, 0.0110);
  }
}

/// Where both have something to show, the two differ by less than a resampling of noise makes up.
void expect_the_same_picture(const std::filesystem::path& one, const std::filesystem::path& other) {
  const cv::Mat a = cv::imread(one.string(), cv::IMREAD_UNCHANGED),
                b = cv::imread(other.string(), cv::IMREAD_UNCHANGED);
  ASSERT_EQ(a.size(), b.size());
  std::vector<cv::Mat> planes_a, planes_b;
  cv::split(a, planes_a), cv::split(b, planes_b);
  const cv::Mat both = (planes_a[3] == 255) & (planes_b[3] == 255);
  EXPECT_GT(cv::countNonZero(both), 0.5 * cv::countNonZero(planes_a[3] == 255));
  cv::Scalar mean, spread;
  cv::meanStdDev(planes_a[1], mean, spread, both);
  cv::Mat apart;
  cv::absdiff(planes_a[1], planes_b[1], apart);
  EXPECT_LT(cv::mean(apart, both)[0], 0.3 * spread[0]);
}

TEST(Align, RecoversAKnownTurnAndShift) {
  const test::SmallFlight first = flight_with_mosaic();
  // The same flight on a grid that is turned by 8 degrees and shifted: every homography gets that motion in
  // front.
  test::SmallFlight second = test::make_small_flight({.columns = 4, .rows = 4, .tilt_deg = 1});
  const double turn = 8 * kDegree;
  Eigen::Matrix3d moved;
  moved << std::cos(turn), -std::sin(turn), 90, std::sin(turn), std::cos(turn), 5, 0, 0, 1;
  for (FrameRecord& frame : second.record.frames)
    frame.placement.mosaic_from_frame.matrix = moved * frame.placement.mosaic_from_frame.matrix;
  second.record.placement.mosaic_width_px += 100;
  second.record.placement.mosaic_height_px += 150;
  second.record.placement.crs.reset();
  second.record.placement.geotransform.reset();
  const FrameReader reader;
  const Scheduler scheduler({2, 1'000'000'000});
  const Cache cache{""};
  Progress progress(false);
  RunContext context{second.out, reader, scheduler, cache, progress};
  mosaic::build(second.record, {}, context);
  const Alignment found = align(first.out, second.out);
  const Eigen::Matrix3d expected = moved.inverse();
  for (const auto& [x, y] : {std::pair{200.0, 200.0}, {500.0, 250.0}, {300.0, 450.0}}) {
    const Eigen::Vector3d wanted = expected * Eigen::Vector3d(x, y, 1);
    EXPECT_NEAR(found.first_from_second[0] * x + found.first_from_second[1] * y + found.first_from_second[2],
                wanted.x(), 0.7);
    EXPECT_NEAR(found.first_from_second[3] * x + found.first_from_second[4] * y + found.first_from_second[5],
                wanted.y(), 0.7);
  }
  EXPECT_NEAR(found.turned_deg, 8, 0.1);
  write_aligned(first.out, second.out, found, first.out / "aligned.tif", 1);
  expect_the_same_picture(first.out / "mosaic.tif", first.out / "aligned.tif");
  for (const auto& entry : std::filesystem::directory_iterator(first.out))
    EXPECT_NE(entry.path().extension(), ".xml") << entry.path();
  // The other way round the grid has no place in the world.
  write_aligned(second.out, first.out, align(second.out, first.out), second.out / "aligned.tif", 1);
  expect_the_same_picture(second.out / "mosaic.tif", second.out / "aligned.tif");
}

// A corner's pull of two sides crossing like an hourglass; its signed area is nought.
TEST(Shapes, AnOutlineThatCrossesItselfIsRefused) {
  Options options;
  options.areas = {"0,0 10,10 10,0 0,10"};
  EXPECT_THROW((void)shapes_of(options), InputError);
  options.areas = {"0,0 10,0 10,10 5,5 0,10"};  // a notch does not cross
  EXPECT_EQ(shapes_of(options).size(), 1U);
}

TEST(Measure, APointHasItsUncertaintyAlsoWithoutCheckPoints) {
  Ground ground = metric_ground();
  ground.point_sigma = 0.03;
  ground.datum_sigma.reset();
  const Measured point = measure({"p", Kind::point, {{1, 1}}}, ground, false);
  ASSERT_TRUE(point.point_sigma);
  // Root sum of squares of 0.03 m and of half a pixel of pointing (by hand).
  EXPECT_NEAR(*point.point_sigma, std::hypot(0.03, 0.5 * ground.unit_per_px()), 1e-12);
  EXPECT_THAT(text_of({point}, ground), testing::HasSubstr("against other spots"));
}

// A level place at 2 m with a square pyramid on it: base 20 m x 20 m, 6 m high at its middle (0, 0).
Heights pyramid() {
  Heights heights;
  heights.columns = heights.rows = 161;
  heights.x0 = -20, heights.x_step = 0.25, heights.y0 = 20, heights.y_step = -0.25;
  for (int row = 0; row < heights.rows; ++row)
    for (int column = 0; column < heights.columns; ++column) {
      const double x = heights.x0 + column * heights.x_step, y = heights.y0 + row * heights.y_step;
      const double from_middle = std::max(std::abs(x), std::abs(y));
      heights.metres.push_back(static_cast<float>(2 + 6 * std::max(0.0, 1 - from_middle / 10)));
      heights.agreeing.push_back(x < 0 ? 3 : 0);
    }
  return heights;
}

// A third of base times height: 20 x 20 x 6 / 3 = 800 m3 (solid geometry).
TEST(Heights, VolumeOfAPyramidIsAThirdOfBaseTimesHeight) {
  const auto volume =
      volume_of({"heap", Kind::area, {{-15, -15}, {15, -15}, {15, 15}, {-15, 15}}}, pyramid());
  ASSERT_TRUE(volume);
  EXPECT_NEAR(volume->above, 800, 4);
  EXPECT_NEAR(volume->below, 0, 1e-3);
  EXPECT_NEAR(volume->measured_share, 0.5, 0.01);
}

// From foot to top over the middle of a side: 10 m level, 6 m up, sqrt(136) m of slope (Pythagoras).
TEST(Heights, ASlopeHasItsLevelDifferenceAndLength) {
  const auto line = heights_along({"slope", Kind::line, {{-10, 0}, {0, 0}}}, pyramid());
  ASSERT_TRUE(line);
  EXPECT_NEAR(line->level_difference, 6, 1e-6);
  EXPECT_NEAR(line->slope_length, std::sqrt(136.0), 1e-6);
  EXPECT_NEAR(line->lowest, 2, 1e-6);
  EXPECT_NEAR(line->highest, 8, 1e-6);
  for (const ProfileSpot& spot : line->spots) EXPECT_NEAR(spot.height, 2 + 0.6 * spot.along, 1e-5);
  EXPECT_FALSE(heights_along({"out", Kind::line, {{0, 0}, {30, 0}}}, pyramid())) << "leaves the surface";
  const std::string csv = csv_of({*line});
  EXPECT_EQ(std::count(csv.begin(), csv.end(), '\n'), static_cast<long>(line->spots.size()) + 1);
  EXPECT_THAT(svg_of({*line}), testing::HasSubstr("<polyline"));
}

TEST(Heights, AVolumeIsNeverSaidWithoutItsCaution) {
  const Heights heights = pyramid();
  const auto volume = volume_of({"heap", Kind::area, {{-15, -15}, {15, -15}, {15, 15}, {-15, 15}}}, heights);
  EXPECT_THAT(text_of({}, {*volume}, heights), testing::HasSubstr("no survey"));
}

}  // namespace
}  // namespace lookdown::measure
