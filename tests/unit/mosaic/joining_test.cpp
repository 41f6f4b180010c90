// What steers the choice between frames and joins them: passing things, and small misfits at seams.
#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "pipeline/record/run_context.h"
#include "stages/mosaic/masks/transient_objects.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/roofs/roof_detection.h"
#include "stages/mosaic/seams/seam_alignment.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

using test::make_small_flight;
using test::SmallFlight;

constexpr int kSurveySide = 60;

/// Frames that all see the same textured ground, each with its own noise and brightness.
Survey survey_of_same_ground(int frames) {
  Survey survey;
  survey.columns = survey.rows = kSurveySide;
  cv::RNG random(5);
  cv::Mat ground(kSurveySide, kSurveySide, CV_8UC3);
  random.fill(ground, cv::RNG::NORMAL, cv::Scalar(70, 110, 90), cv::Scalar(15, 15, 15));
  for (int i = 0; i < frames; ++i) {
    SurveyFrame frame;
    frame.box = {0, 0, kSurveySide, kSurveySide};
    cv::Mat noise(ground.size(), CV_8UC3);
    random.fill(noise, cv::RNG::UNIFORM, 0, 4);
    frame.bgr = ground + noise + cv::Scalar::all(2 * i);
    frame.usable = cv::Mat(ground.size(), CV_8UC1, cv::Scalar(255));
    frame.dislike = cv::Mat(ground.size(), CV_32FC1, cv::Scalar(1));
    survey.frames.push_back(frame);
  }
  return survey;
}

/// Cameras 100 cells up over the middle of the ground.
std::vector<FrameView> views_from_above(const Survey& survey) {
  FrameView view;
  view.height_px = 100 * survey.cell_px;
  view.nadir_x_px = view.nadir_y_px = 0.5 * kSurveySide * survey.cell_px;
  return std::vector<FrameView>(survey.frames.size(), view);
}

void draw_line(SurveyFrame& frame) {
  cv::line(frame.bgr, {5, 10}, {50, 40}, cv::Scalar(20, 20, 20), 1);
}

TEST(PassingThings, ALineInOneFrameOfThreeIsDislikedThereAndNowhereElse) {
  Survey survey = survey_of_same_ground(3);
  draw_line(survey.frames[1]);
  dislike_passing_things(views_from_above(survey), survey);
  for (const cv::Point on_line : {cv::Point(5, 10), cv::Point(20, 20), cv::Point(50, 40)})
    EXPECT_GT(survey.frames[1].dislike.at<float>(on_line), 2) << on_line.x;
  EXPECT_EQ(survey.frames[1].dislike.at<float>(50, 5), 1);
  for (const int other : {0, 2})
    EXPECT_LT(cv::countNonZero(survey.frames[other].dislike > 1), 0.01 * kSurveySide * kSurveySide);
}

TEST(PassingThings, ALineThroughAFrameIsDislikedAlsoWhereNoOtherFrameSeesTheGround) {
  Survey survey = survey_of_same_ground(4);
  cv::line(survey.frames[1].bgr, {0, 20}, {59, 40}, cv::Scalar(20, 20, 20), 2);
  const cv::Rect unseen(20, 0, 15, kSurveySide);
  for (const int other : {0, 2, 3}) survey.frames[other].usable(unseen).setTo(0);
  dislike_passing_things(views_from_above(survey), survey);
  for (const cv::Point on_line : {cv::Point(2, 21), cv::Point(27, 29), cv::Point(55, 39)})
    EXPECT_GT(survey.frames[1].dislike.at<float>(on_line), 10) << on_line.x;
  EXPECT_EQ(survey.frames[1].dislike.at<float>(10, 27), 1);
}

// A roof that leans shows its side along an outline; ground differs from roof there, unlike on the two sides
// of a line.
TEST(PassingThings, TheOutlineOfALeaningThingIsNoLine) {
  Survey survey = survey_of_same_ground(4);
  for (int view = 0; view < 4; ++view)
    survey.frames[view]
        .bgr(cv::Rect(0, 0, view == 1 ? 33 : 30, kSurveySide))
        .setTo(cv::Scalar(200, 205, 210));
  dislike_passing_things(views_from_above(survey), survey);
  EXPECT_LT(survey.frames[1].dislike.at<float>(30, 31), 10);
}

TEST(PassingThings, ALineOverABrokenMirrorOfTheSkyIsDislikedToo) {
  Survey survey = survey_of_same_ground(4);
  survey.frames[3].bgr += cv::Scalar(60, 50, 50);  // the sky in the water, seen in one frame
  draw_line(survey.frames[1]);
  dislike_passing_things(views_from_above(survey), survey);
  EXPECT_GT(survey.frames[1].dislike.at<float>(20, 20), 2);
}

TEST(PassingThings, OneOfTwoFramesIsNeverBlamed) {
  Survey survey = survey_of_same_ground(2);
  draw_line(survey.frames[1]);
  dislike_passing_things(views_from_above(survey), survey);
  for (const SurveyFrame& frame : survey.frames) EXPECT_EQ(cv::countNonZero(frame.dislike != 1), 0);
}

// A crown 20 cells over the ground and 100 under the cameras' 120 shows farther from what is below the camera
// by a fifth of that distance: cameras 25 cells apart see it 5 cells apart. One who walks has no height.
TEST(PassingThings, ACrownThatEveryFrameShowsElsewhereIsSparedAndOneWhoWalksIsNot) {
  Survey survey = survey_of_same_ground(4);
  std::vector<FrameView> views = views_from_above(survey);
  const std::vector<cv::Point> walk{{8, 50}, {16, 44}, {40, 52}, {52, 40}};
  for (int i = 0; i < 4; ++i) {
    views[i].height_px = 120 * survey.cell_px;
    views[i].nadir_x_px = (25.0 * i - 10) * survey.cell_px;
    const double shown = 30 + 20.0 / (120 - 20) * (30 - (25.0 * i - 10));
    cv::circle(survey.frames[i].bgr, {cvRound(shown), 15}, 2, cv::Scalar(30, 60, 35), cv::FILLED);
    cv::circle(survey.frames[i].bgr, walk[i], 2, cv::Scalar(180, 190, 230), cv::FILLED);
  }
  dislike_passing_things(views, survey);
  for (int i = 0; i < 4; ++i) {
    const double shown = 30 + 20.0 / (120 - 20) * (30 - (25.0 * i - 10));
    EXPECT_EQ(survey.frames[i].dislike.at<float>(15, cvRound(shown)), 1) << i;
    EXPECT_GT(survey.frames[i].dislike.at<float>(walk[i]), 2) << i;
  }
}

TEST(PassingThings, WhereAllDifferNoneIsBlamed) {
  Survey survey = survey_of_same_ground(3);
  const cv::Rect roof(20, 20, 10, 10);
  survey.frames[0].bgr(roof).setTo(cv::Scalar(60, 60, 60));
  survey.frames[1].bgr(roof).setTo(cv::Scalar(120, 120, 120));
  survey.frames[2].bgr(roof).setTo(cv::Scalar(200, 200, 200));
  dislike_passing_things(views_from_above(survey), survey);
  for (const SurveyFrame& frame : survey.frames) EXPECT_EQ(frame.dislike.at<float>(25, 25), 1);
}

void build_with(SmallFlight& flight, bool meet_at_seams) {
  test::SmallFlightRun run(flight);
  RunContext& context = run.context;
  Options options;
  options.ground_overlay = false;
  options.paper = "none";
  options.meet_at_seams = meet_at_seams;
  build(flight.record, options, context);
}

/// Mean step of grey between neighbours that different frames show.
double step_at_seams(const SmallFlight& flight) {
  const cv::Mat four = cv::imread((flight.out / "mosaic.tif").string(), cv::IMREAD_UNCHANGED);
  const cv::Mat sources = cv::imread((flight.out / "mosaic_sources.tif").string(), cv::IMREAD_UNCHANGED);
  cv::Mat grey;
  cv::cvtColor(four, grey, cv::COLOR_BGRA2GRAY);
  double sum = 0;
  int pairs = 0;
  for (int row = 0; row < grey.rows; ++row)
    for (int column = 0; column + 1 < grey.cols; ++column) {
      const ushort here = sources.at<ushort>(row, column), there = sources.at<ushort>(row, column + 1);
      if (here == there || here == 65535 || there == 65535) continue;
      sum += std::abs(grey.at<uchar>(row, column) - grey.at<uchar>(row, column + 1));
      ++pairs;
    }
  return pairs > 0 ? sum / pairs : 0;
}

/// Every second frame placed 4 px too far right and 3 px too far down.
SmallFlight misplaced_flight() {
  SmallFlight flight = make_small_flight({});
  Eigen::Matrix3d shift = Eigen::Matrix3d::Identity();
  shift(0, 2) = 4;
  shift(1, 2) = 3;
  for (std::size_t i = 1; i < flight.record.frames.size(); i += 2) {
    auto& matrix = flight.record.frames[i].placement.mosaic_from_frame.matrix;
    matrix = (shift * matrix).eval();
  }
  return flight;
}

TEST(SeamTies, AreAsFarApartAsTheFramesAreMisplaced) {
  SmallFlight flight = misplaced_flight();
  test::SmallFlightRun run(flight);
  RunContext& context = run.context;
  const Canvas canvas = plan_canvas(flight.record.placement, std::nullopt);
  const std::vector<FrameView> views = frame_views(flight.record, canvas, std::nullopt);
  const Survey survey = survey_frames(flight.record, views, canvas, "best", context);
  FrameStore store(run.reader, flight.record, flight.out, 100'000'000);
  const std::vector<SeamTie> ties =
      seam_ties(flight.record, views, survey, least_disliked(survey), store, context);
  ASSERT_GT(ties.size(), 4U);
  int misfit = 0;
  for (const SeamTie& tie : ties) {
    // Odd frames lie 4 px to the right and 3 px down of where they should: so does what they show.
    const int odd = tie.second % 2 - tie.first % 2;
    EXPECT_NEAR(tie.apart_px.x, 4 * odd, 0.6) << tie.first << ' ' << tie.second;
    EXPECT_NEAR(tie.apart_px.y, 3 * odd, 0.6) << tie.first << ' ' << tie.second;
    misfit += odd != 0;
  }
  EXPECT_GT(misfit, 2);
}

TEST(SeamBends, MisplacedFramesMeet) {
  SmallFlight bent = misplaced_flight(), straight = misplaced_flight(), right = make_small_flight({});
  build_with(bent, true);
  build_with(straight, false);
  build_with(right, true);
  // Placed rightly the seams show only what the ground has of its own; bending takes away most of the rest.
  const double own = step_at_seams(right);
  EXPECT_LT(step_at_seams(bent) - own, 0.5 * (step_at_seams(straight) - own));
}

TEST(SeamBends, FadeToNothingAndGiveWayByHalf) {
  SmallFlight flight = make_small_flight({});
  const Canvas canvas = plan_canvas(flight.record.placement, std::nullopt);
  std::vector<FrameView> views = frame_views(flight.record, canvas, std::nullopt);
  Survey survey;
  survey.cell_px = 4;
  for (const FrameView& view : views) {
    SurveyFrame frame;
    frame.box = {view.box.x / 4, view.box.y / 4, view.box.width / 4 + 1, view.box.height / 4 + 1};
    survey.frames.push_back(frame);
  }
  const cv::Point2d both_see(static_cast<double>((views[0].box & views[1].box).x + 60), 160);
  ASSERT_TRUE(views[0].sight(both_see.x, both_see.y).usable && views[1].sight(both_see.x, both_see.y).usable);
  bend_frames(views, survey, {{0, 1, both_see, {4, -2}}});
  EXPECT_NEAR(views[0].bend.at(both_see.x, both_see.y).x, -2, 0.1);
  EXPECT_NEAR(views[1].bend.at(both_see.x, both_see.y).x, 2, 0.1);
  EXPECT_NEAR(views[1].bend.at(both_see.x, both_see.y).y, -1, 0.05);
  EXPECT_EQ(views[1].bend.at(both_see.x, both_see.y - 80).x, 0);
  EXPECT_TRUE(views[2].bend.empty());
}

// Relief displacement d = r h / H, the formula of every photogrammetry handbook: a roof 6 m high seen from 40
// m, imaged 1500 px from the nadir, is displaced by 225 px.
TEST(RaisedArea, LeansByReliefDisplacement) {
  FrameView view;
  view.height_px = 4000;
  view.nadir_x_px = 300;
  view.nadir_y_px = 200;
  view.lens_reach_px = 1e30;
  const cv::Point2d shown = leaned(view, 600, {300 + 1275, 200});
  EXPECT_NEAR(shown.x, 300 + 1500, 1e-6);
  EXPECT_NEAR(shown.y, 200, 1e-6);
  EXPECT_NEAR(plan_of(view, 600, shown).x, 300 + 1275, 1e-6);
  // What the roof hides reaches from its foot to where its top is drawn.
  const RaisedArea roof{600, {{800, 150}, {1575, 150}, {1575, 250}, {800, 250}}};
  const cv::Rect box = box_of(hidden_outline(view, roof));
  EXPECT_NEAR(box.x, 800, 1);
  EXPECT_NEAR(box.br().x, 1800, 2);
}

/// A small flight as the sweep over heights sees it.
struct SurveyedFlight {
  explicit SurveyedFlight(SmallFlight made)
      : flight(std::move(made)),
        run(flight),
        canvas(plan_canvas(flight.record.placement, std::nullopt)),
        views(frame_views(flight.record, canvas, std::nullopt)),
        survey(survey_frames(flight.record, views, canvas, "best", run.context)) {}
  SmallFlight flight;
  test::SmallFlightRun run;
  Canvas canvas;
  std::vector<FrameView> views;
  Survey survey;
};

constexpr double kRoofHeight_px = 26;

SmallFlight with_roof(SmallFlight flight, const cv::Rect2d& place) {
  test::put_roof(flight, place, kRoofHeight_px);
  return flight;
}

TEST(SweptRoofs, OneLongerThanAnyFrameIsFoundWhereItStandsAndMustBeJoined) {
  test::SmallFlightPlan plan;
  plan.columns = 4;
  const cv::Rect2d place(130, 165, 380, 60);  // canvas pixels; frames are 240 px long
  const SurveyedFlight seen(with_roof(make_small_flight(plan), place));
  const std::vector<RaisedArea> roofs = swept_roofs(seen.views, seen.survey, {});
  ASSERT_EQ(roofs.size(), 1U);
  EXPECT_TRUE(must_be_joined(seen.views, roofs[0]));
  EXPECT_NEAR(roofs[0].height_px, kRoofHeight_px, 0.1 * kRoofHeight_px);
  const cv::Rect box = box_of(roofs[0].outline);
  EXPECT_NEAR(box.x, place.x, 6);
  EXPECT_NEAR(box.y, place.y, 6);
  EXPECT_NEAR(box.br().x, place.br().x, 7);
  EXPECT_NEAR(box.br().y, place.br().y, 7);
}

TEST(SweptRoofs, OneThatAFrameSeesWholeIsFoundAndNeedNotBeJoined) {
  const SurveyedFlight seen(with_roof(make_small_flight({}), {130, 150, 100, 60}));
  const std::vector<RaisedArea> roofs = swept_roofs(seen.views, seen.survey, {});
  ASSERT_EQ(roofs.size(), 1U);
  EXPECT_FALSE(must_be_joined(seen.views, roofs[0]));
  EXPECT_NEAR(roofs[0].height_px, kRoofHeight_px, 0.1 * kRoofHeight_px);
  EXPECT_TRUE(swept_roofs(seen.views, seen.survey, roofs).empty());
}

TEST(SweptRoofs, FlatGroundHasNone) {
  const SurveyedFlight seen(make_small_flight({}));
  EXPECT_TRUE(swept_roofs(seen.views, seen.survey, {}).empty());
}

}  // namespace
}  // namespace lookdown::mosaic
