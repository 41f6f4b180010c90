// Roofs that must stay whole, on a small invented flight whose roof is known.
#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <set>

#include "pipeline/record/run_context.h"
#include "stages/mosaic/mosaic.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

using test::make_small_flight;
using test::SmallFlight;

constexpr double kHeightPx = 26;

/// Tells the record of the roof what placing would: marks that leave out a rim and a bay.
void outline_roof(SmallFlight& flight, const cv::Rect2d& place) {
  const double left = place.x + 8, top = place.y + 8, right = place.br().x - 8, bottom = place.br().y - 8,
               middle = 0.5 * (left + right);
  RaisedPlane plane;
  plane.height = kHeightPx * *flight.record.placement.gsd_m;
  plane.outlines_px = {{{left, top},
                        {middle - 30, top},
                        {middle, 0.5 * (top + bottom)},
                        {middle + 30, top},
                        {right, top},
                        {right, bottom},
                        {left, bottom}}};
  flight.record.placement.raised_planes = {plane};
  flight.record.placement.plane_heights = {0, plane.height};
}

struct Made {
  cv::Mat colours, sources;
};

Made built(SmallFlight& flight, bool whole_roofs) {
  test::SmallFlightRun run(flight);
  RunContext& context = run.context;
  Options options;
  options.colour_balance = false;
  options.whole_roofs = whole_roofs;
  options.meet_at_seams = false;  // which would hide steps of a few pixels
  build(flight.record, options, context);
  Made made{cv::imread((flight.out / "mosaic.tif").string(), cv::IMREAD_UNCHANGED),
            cv::imread((flight.out / "mosaic_sources.tif").string(), cv::IMREAD_UNCHANGED)};
  cv::cvtColor(made.colours, made.colours, cv::COLOR_BGRA2BGR);
  return made;
}

/// Where the roof's patches are drawn, less where they stand, and the frames that show them.
struct Drawn {
  std::vector<cv::Point2d> places, shifts;
  std::set<int> frames;
};

Drawn drawn_roof(const Made& made, const cv::Mat& roof, const cv::Rect& place) {
  constexpr int kPatch = 17, kReach = 26;
  Drawn drawn;
  for (int y = place.y + 2; y + kPatch + 2 <= place.br().y; y += 6)
    for (int x = place.x + 2; x + kPatch + 2 <= place.br().x; x += 6) {
      const cv::Rect around = cv::Rect(x - kReach, y - kReach, kPatch + 2 * kReach, kPatch + 2 * kReach) &
                              cv::Rect({}, roof.size());
      cv::Mat likeness;
      cv::matchTemplate(made.colours(around), roof(cv::Rect(x, y, kPatch, kPatch)), likeness,
                        cv::TM_CCOEFF_NORMED);
      double best = 0;
      cv::Point at;
      cv::minMaxLoc(likeness, nullptr, &best, nullptr, &at);
      if (best < 0.85) continue;
      drawn.places.emplace_back(x, y);
      drawn.shifts.push_back(cv::Point2d(around.tl() + at - cv::Point(x, y)));
      drawn.frames.insert(made.sources.at<ushort>(around.tl() + at + cv::Point(kPatch / 2, kPatch / 2)));
    }
  return drawn;
}

/// Root mean square of what a lean that is linear in place does not explain.
double rest_of_linear_lean(const Drawn& drawn) {
  cv::Mat design(static_cast<int>(drawn.places.size()), 3, CV_64F), target(design.rows, 2, CV_64F), fit;
  for (int i = 0; i < design.rows; ++i) {
    design.at<double>(i, 0) = drawn.places[i].x, design.at<double>(i, 1) = drawn.places[i].y,
                         design.at<double>(i, 2) = 1;
    target.at<double>(i, 0) = drawn.shifts[i].x, target.at<double>(i, 1) = drawn.shifts[i].y;
  }
  cv::solve(design, target, fit, cv::DECOMP_SVD);
  return cv::norm(target - design * fit) / std::sqrt(static_cast<double>(design.rows));
}

TEST(WholeRoofs, ARoofThatNoFrameShowsWholeHasNoStep) {
  test::SmallFlightPlan plan;
  plan.columns = 4;
  SmallFlight flight = make_small_flight(plan);
  const cv::Rect place(130, 165, 380, 60);  // canvas pixels; frames are 240 px long
  const cv::Mat roof = test::put_roof(flight, place, kHeightPx);
  outline_roof(flight, place);
  const Drawn cut = drawn_roof(built(flight, false), roof, place),
              joined = drawn_roof(built(flight, true), roof, place);
  ASSERT_GE(joined.frames.size(), 2U);
  ASSERT_GE(joined.places.size(), 150U);
  // Whole-pixel matches leave 0.41 px (a uniform error of a pixel each way).
  EXPECT_LT(rest_of_linear_lean(joined), 0.8);
  EXPECT_GT(rest_of_linear_lean(cut), 2 * rest_of_linear_lean(joined));
}

TEST(WholeRoofs, ARoofWhoseSidesShowStandsOverItsOwnFeet) {
  test::SmallFlightPlan plan;
  plan.columns = 4;
  SmallFlight flight = make_small_flight(plan);
  const cv::Rect place(130, 165, 380, 60);
  const cv::Mat roof = test::put_roof(flight, place, kHeightPx);
  outline_roof(flight, place);
  const auto farthest = [](const Drawn& drawn) {
    double far = 0;
    for (const cv::Point2d& shift : drawn.shifts) far = std::max(far, cv::norm(shift));
    return far;
  };
  const Made upright = built(flight, true);
  const Drawn drawn = drawn_roof(upright, roof, place);
  ASSERT_GE(drawn.places.size(), 150U);
  EXPECT_LT(farthest(drawn), 1.5);  // whole pixels
  EXPECT_GT(farthest(drawn_roof(built(flight, false), roof, place)), 6);
  // The ground beside it, which some frames see behind the roof, is the ground.
  cv::Mat beside(roof.size(), CV_8UC1, cv::Scalar(0)), apart;
  beside(cv::Rect(place.x, place.y - 10, place.width, place.height + 20)).setTo(255);
  beside(cv::Rect(place.x, place.y - 3, place.width, place.height + 6)).setTo(0);
  cv::absdiff(upright.colours, flight.ground, apart);
  EXPECT_LT(cv::mean(apart, beside)[1], 6);
}

TEST(WholeRoofs, ARoofThatAFrameShowsWholeComesOutOfOne) {
  test::SmallFlightPlan plan;
  plan.columns = 4;
  SmallFlight flight = make_small_flight(plan);
  const cv::Rect place(190, 165, 70, 50);  // between the middles of two frames
  const cv::Mat roof = test::put_roof(flight, place, kHeightPx);
  outline_roof(flight, place);
  const Drawn drawn = drawn_roof(built(flight, true), roof, place);
  ASSERT_GE(drawn.places.size(), 20U);
  EXPECT_EQ(drawn.frames.size(), 1U);
}

}  // namespace
}  // namespace lookdown::mosaic
