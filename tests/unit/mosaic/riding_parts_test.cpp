// What rides along with the camera, on small invented flights.
#include "stages/mosaic/masks/rig_mask.h"

#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/record/run_context.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

using test::make_small_flight;
using test::SmallFlight;

/// With its own thread limit and reader, for as long as a test lasts.
struct Bench {
  FrameReader reader;
  Scheduler scheduler{{2, 1'000'000'000}};
  Cache cache{""};
  Progress progress{false};
  RunContext context;
  explicit Bench(const SmallFlight& flight) : context{flight.out, reader, scheduler, cache, progress} {}
};

std::vector<RidingPart> parts_of(SmallFlight& flight) {
  Bench bench(flight);
  const Canvas canvas = plan_canvas(flight.record.placement, std::nullopt);
  const std::vector<FrameView> views = frame_views(flight.record, canvas, std::nullopt);
  Survey survey = survey_frames(flight.record, views, canvas, "best", bench.context);
  correct_survey(survey, views, solve_colours(flight.record, views, survey));
  return riding_parts(flight.record, views, survey);
}

/// Draws over every frame, each with a little light of its own.
template <class Draw>
void draw_over(SmallFlight& flight, Draw draw) {
  int number = 0;
  for (const FrameRecord& frame : flight.record.frames) {
    cv::Mat picture = cv::imread(frame.source.path.string());
    draw(picture, number++);
    cv::imwrite(frame.source.path.string(), picture);
  }
}

const cv::Rect kBracket(0, 140, 60, 40);

void draw_bracket(cv::Mat& picture, int number) {
  picture(kBracket).setTo(cv::Scalar::all(30 + number % 3));
  cv::circle(picture, {25, 160}, 8, cv::Scalar(60, 60, 190), cv::FILLED);
}

TEST(RidingParts, ABracketInTheCornerIsFoundAndNothingBesides) {
  SmallFlight flight = make_small_flight({.columns = 4, .rows = 3});
  draw_over(flight, draw_bracket);
  const std::vector<RidingPart> parts = parts_of(flight);
  ASSERT_EQ(parts.size(), 1U);
  EXPECT_EQ(parts[0].views.size(), 12U);
  cv::Mat mask, truth(180, 240, CV_8UC1, cv::Scalar(0));
  truth(kBracket).setTo(255);
  cv::resize(parts[0].mask, mask, truth.size(), 0, 0, cv::INTER_NEAREST);
  EXPECT_EQ(cv::countNonZero(truth & ~mask), 0);
  EXPECT_LT(cv::countNonZero(mask & ~truth), 0.5 * kBracket.area());  // a rim of a square or two
  EXPECT_NE(in_words(parts[0]).find("bottom left"), std::string::npos);
}

TEST(RidingParts, TheMosaicDoesWithoutIt) {
  SmallFlight flight = make_small_flight({.columns = 4, .rows = 3});
  draw_over(flight, draw_bracket);
  Bench bench(flight);
  build(flight.record, {}, bench.context);
  // The ground is nowhere darker than 60, the bracket is 30 to 32.
  cv::Mat four = cv::imread((flight.out / "mosaic.tif").string(), cv::IMREAD_UNCHANGED), dark, alpha;
  cv::extractChannel(four, alpha, 3);
  cv::inRange(four, cv::Scalar(0, 0, 0, 255), cv::Scalar(45, 45, 45, 255), dark);
  EXPECT_EQ(cv::countNonZero(dark), 0);
  EXPECT_GT(cv::countNonZero(alpha), alpha.rows * alpha.cols / 2);
  EXPECT_EQ(flight.record.notes.size(), 1U);
}

TEST(RidingParts, GroundAloneHasNone) {
  SmallFlight flight = make_small_flight({.columns = 4, .rows = 3});
  EXPECT_TRUE(parts_of(flight).empty());
}

// Vignetting that the colour model takes out, over ground that looks the same everywhere.
TEST(RidingParts, DarkCornersOverAnEvenLawnAreNone) {
  SmallFlight flight = make_small_flight({.columns = 4, .rows = 3});
  cv::RNG random(3);
  draw_over(flight, [&](cv::Mat& picture, int) {
    cv::Mat lawn(picture.size(), CV_8UC3);
    random.fill(lawn, cv::RNG::NORMAL, cv::Scalar(60, 120, 80), cv::Scalar::all(4));
    for (int row = 0; row < lawn.rows; ++row)
      for (int column = 0; column < lawn.cols; ++column) {
        const double u = (column - 120) / 150.0, v = (row - 90) / 150.0;
        lawn.at<cv::Vec3b>(row, column) *= std::exp(-0.4 * (u * u + v * v));
      }
    picture = lawn;
  });
  EXPECT_TRUE(parts_of(flight).empty());
}

// A sky mirrored in still water is brighter towards the same side of every frame, whatever lies below.
TEST(RidingParts, AMirroredSkyIsNone) {
  SmallFlight flight = make_small_flight({.columns = 4, .rows = 3});
  draw_over(flight, [](cv::Mat& picture, int) {
    for (int row = 0; row < picture.rows; ++row)
      for (int column = 0; column < picture.cols; ++column)
        picture.at<cv::Vec3b>(row, column) +=
            cv::Vec3b::all(static_cast<uchar>(60 * std::max(0.0, 1 - std::hypot(column, row) / 130.0)));
  });
  EXPECT_TRUE(parts_of(flight).empty());
}

}  // namespace
}  // namespace lookdown::mosaic
