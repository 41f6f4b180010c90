// Parts of the surface stage on made-up heights.
#include "stages/surface/surface.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/surface/gap_filling.h"
#include "stages/surface/matching/census.h"
#include "stages/surface/matching/plane_sweep.h"
#include "stages/surface/matching/semi_global.h"
#include "stages/surface/matching/sweep_views.h"
#include "stages/surface/matching/view_likeness.h"
#include "tests/unit/surface/noise.h"

namespace lookdown::surface {
namespace {

constexpr float kNone = std::numeric_limits<float>::quiet_NaN();

TEST(Census, DoesNotDependOnExposureAndContrast) {
  const cv::Mat picture = noise({40, 30}, 1);
  cv::Mat brighter, bits;
  picture.convertTo(brighter, CV_8U, 0.8, 40);
  // Rounding may make equal what was not: such pairs are few.
  Census one, other, unlike;
  take_census(picture, one);
  take_census(brighter, other);
  take_census(noise({40, 30}, 2), unlike);
  differing_bits(one, other, bits);
  EXPECT_LT(cv::mean(bits)[0], 1);
  // Of independent comparisons half differ.
  differing_bits(one, unlike, bits);
  EXPECT_NEAR(cv::mean(bits)[0], Census::kBits / 2.0, 1.5);
}

TEST(Census, KnowsNothingBesideWhatIsNotSeen) {
  cv::Mat picture = noise({40, 30}, 1), bits;
  picture.at<uchar>(10, 20) = 0;
  Census census;
  take_census(picture, census);
  differing_bits(census, census, bits);
  EXPECT_EQ(bits.at<uchar>(10 + Census::kReach, 20), kUnknown);
  EXPECT_EQ(bits.at<uchar>(11 + Census::kReach, 20), 0);
}

// Held against the mean over all pairs, each looked at by itself.
TEST(ViewLikeness, IsTheMeanOverAllPairsOfViews) {
  for (std::size_t count = 2; count <= 8; ++count) {
    std::vector<Census> census(count);
    std::vector<const Census*> views;
    for (std::size_t view = 0; view < count; ++view) {
      cv::Mat picture = noise({40, 30}, 20 + unsigned(view));
      if (view % 3 == 2) picture.colRange(0, 15) = 0;  // not seen there
      take_census(picture, census[view]);
      views.push_back(&census[view]);
    }
    cv::Mat sum = cv::Mat::zeros(30, 40, CV_32FC1), pairs = sum.clone(), bits, steps;
    for (std::size_t i = 0; i < count; ++i)
      for (std::size_t j = 0; j < i; ++j) {
        differing_bits(census[i], census[j], bits);
        cv::add(sum, bits, sum, bits != kUnknown, CV_32F);
        cv::add(pairs, 1, pairs, bits != kUnknown);
      }
    differing_bits(views, steps);
    for (int row = 0; row < 30; ++row)
      for (int column = 0; column < 40; ++column) {
        const float seen = pairs.at<float>(row, column);
        if (seen == 0) {
          ASSERT_EQ(steps.at<uchar>(row, column), kUnknown);
        } else {
          ASSERT_NEAR(steps.at<uchar>(row, column), kStepsPerBit * sum.at<float>(row, column) / seen, 0.51)
              << count;
        }
      }
  }
}

// Hirschmueller 2008, eq. 13, written out place by place for one path; the other seven are its mirror images.
std::vector<int> path_by_hand(const CostVolume& volume, const Smoothness& smooth, int dx, int dy) {
  const int width = volume.size.width, height = volume.size.height, count = volume.hypotheses;
  std::vector<int> path(volume.costs.size());
  const auto at = [&](int row, int column) { return path.data() + (row * width + column) * count; };
  for (int i = 0; i < height; ++i)
    for (int j = 0; j < width; ++j) {
      const int row = dy < 0 ? height - 1 - i : i, column = dx < 0 ? width - 1 - j : j;
      const int from_row = row - dy, from_column = column - dx;
      const bool begins = from_row < 0 || from_column < 0 || from_row >= height || from_column >= width;
      const int* before = begins ? nullptr : at(from_row, from_column);
      const int least = begins ? 0 : *std::min_element(before, before + count);
      for (int k = 0; k < count; ++k) {
        int best = 0;
        if (!begins) {
          best = std::min(before[k], least + smooth.jump);
          if (k > 0) best = std::min(best, before[k - 1] + smooth.one_step);
          if (k + 1 < count) best = std::min(best, before[k + 1] + smooth.one_step);
        }
        at(row, column)[k] = volume.at(row, column)[k] + best - least;
      }
    }
  return path;
}

TEST(SemiGlobal, IsTheSumOfEightPaths) {
  CostVolume volume{{9, 7}, 11, {}};
  cv::RNG random(5);
  for (int i = 0; i < 9 * 7 * 11; ++i) volume.costs.push_back(std::uint8_t(random.uniform(0, 97)));
  const Smoothness smooth{5, 20};
  std::vector<int> expected(volume.costs.size(), 0);
  for (int dy = -1; dy <= 1; ++dy)
    for (int dx = -1; dx <= 1; ++dx) {
      if (dx == 0 && dy == 0) continue;
      const std::vector<int> path = path_by_hand(volume, smooth, dx, dy);
      for (std::size_t i = 0; i < expected.size(); ++i) expected[i] += path[i];
    }
  const std::vector<std::int16_t> sums = aggregate(volume, smooth);
  EXPECT_EQ(std::vector<int>(sums.begin(), sums.end()), expected);
}

// Three views of a ramp; the third also has something of its own in front of a part of it.
TEST(Sweep, FindsARampThatOneViewHasHiddenInPart) {
  const cv::Size size(96, 64);
  const cv::Mat ground = noise({200, 64}, 3), thing = noise(size, 4);
  const auto truth = [](int column) { return 6.0 + column / 16.0; };
  // A view's picture under a hypothesis is shifted by its base times the error of the hypothesis.
  const double bases[] = {0, 1, -1.5};
  Sweep task{size, 20, 3, [&](int view, int hypothesis, const cv::Rect& part, cv::Mat& grey) {
               cv::Mat map(size, CV_32FC2);
               for (int row = 0; row < size.height; ++row)
                 for (int column = 0; column < size.width; ++column)
                   map.at<cv::Vec2f>(row, column) = {
                       float(50 + column + bases[view] * (hypothesis - truth(column))), float(row)};
               cv::remap(ground, grey, map, cv::noArray(), cv::INTER_LINEAR);
               const cv::Rect before(40, 20, 20, 20);
               if (view == 2) thing(before).copyTo(grey(before));
               grey = grey(part).clone();
             }};
  const SweepAnswer answer = sweep(task);
  for (int row = 4; row < size.height - 4; ++row)
    for (int column = 4; column < size.width - 4; ++column)
      ASSERT_NEAR(answer.hypothesis.at<float>(row, column), truth(column), 1) << row << " " << column;
  std::vector<cv::Mat> shown(3);
  for (int view = 0; view < 3; ++view)  // right at column 48
    task.look(view, 9, cv::Rect({}, size), shown[std::size_t(view)]);
  const cv::Mat agreeing = agreeing_views(shown, {{0, 1}, {0, 2}, {1, 2}});
  EXPECT_EQ(agreeing.at<uchar>(30, 48), 2);
  EXPECT_EQ(agreeing.at<uchar>(10, 48), 3);
  EXPECT_EQ(agreeing.at<uchar>(10, 8), 0);
}

// Ribs of one pitch, as of a sheet roof: of two views every shift by a pitch fits, of three with bases that
// are no multiples of each other only the true one; and where a coarser level has been before, only what lies
// near that.
TEST(Sweep, TellsRepeatedRibsApartByBasesOfOtherLengthsOrByWhatIsInQuestion) {
  const cv::Size size(120, 40);
  constexpr double kTruth = 12, kPitch = 8;
  cv::Mat grain = noise(size, 6) / 16;
  const auto task_of = [&](std::vector<double> bases) {
    const int views = int(bases.size());
    return Sweep{size, 30, views, [=](int view, int hypothesis, const cv::Rect& part, cv::Mat& grey) {
                   cv::Mat whole(size, CV_8UC1);
                   for (int row = 0; row < size.height; ++row)
                     for (int column = 0; column < size.width; ++column)
                       whole.at<uchar>(row, column) = cv::saturate_cast<uchar>(
                           120 + grain.at<uchar>(row, column) / 4 +
                           60 * std::sin((column + bases[std::size_t(view)] * (hypothesis - kTruth)) * 2 *
                                         CV_PI / kPitch));
                   grey = whole(part).clone();
                 }};
  };
  const cv::Rect inner(10, 10, 100, 20);
  const auto right_share = [&](const SweepAnswer& answer) {
    return cv::countNonZero(cv::abs(answer.hypothesis(inner) - kTruth) < 1) / double(inner.area());
  };
  const auto sure = [&](const SweepAnswer& answer) { return cv::mean(answer.margin(inner))[0]; };
  EXPECT_LT(sure(sweep(task_of({0, 1}))), 0.1) << "a pitch further fits as well";
  const SweepAnswer three = sweep(task_of({0, 1, -0.6}));
  EXPECT_GT(right_share(three), 0.95);
  EXPECT_GT(sure(three), 0.2);
  Sweep near = task_of({0, 1});
  near.first = cv::Mat(size, CV_16SC1, cv::Scalar(8));
  near.last = cv::Mat(size, CV_16SC1, cv::Scalar(16));
  EXPECT_GT(right_share(sweep(near)), 0.95);
}

SweepView view_from(const Eigen::Vector3d& centre) {
  Camera camera = assumed_camera(1000, 800);
  SweepView view;
  view.centre = centre;
  view.size = {1000, 800};
  view.picture_from_world = camera.matrix() * straight_down(centre).world_from_camera.transpose();
  return view;
}

TEST(ViewChoice, TakesTheStraightestFirstAndNoneWithoutBase) {
  const std::vector<SweepView> views{view_from({15, 0, 40}), view_from({1, 0, 40}), view_from({1.2, 0, 40}),
                                     view_from({-10, 5, 40}), view_from({500, 0, 40})};
  const std::vector<Eigen::Vector3d> spots{{-2, -2, 0}, {2, -2, 0}, {-2, 2, 0}, {2, 2, 0}};
  const ViewChoice choice = choose_views(views, spots);
  ASSERT_GE(choice.views.size(), 3U);
  EXPECT_EQ(choice.views[0], 1);
  EXPECT_EQ(std::count(choice.views.begin(), choice.views.end(), 4), 0) << "sees nothing of it";
  for (const auto& [one, other] : choice.pairs) {
    const double base = (views[std::size_t(choice.views[std::size_t(one)])].centre -
                         views[std::size_t(choice.views[std::size_t(other)])].centre)
                            .norm();
    EXPECT_GT(base / 40, 0.05);
  }
  EXPECT_NEAR(choice.spread, std::hypot(25, 5) / 40, 1e-9);
}

TEST(ViewChoice, AsksFramesThatOnlyFillWhereFewerThanTwoOthersSee) {
  const double reach = 40 * 500 / assumed_camera(1000, 800).fx_px;  // of a frame from its nadir, along x
  std::vector<SweepView> views{view_from({0, 4, 40}), view_from({0, -4, 40}), view_from({9, 0, 40})};
  views[2].fills = true;
  const std::vector<Eigen::Vector3d> seen_by_all{{0, 0, 0}, {2, 0, 0}},
      seen_by_fill_too{{0, 0, 0}, {reach + 3, 0, 0}};
  EXPECT_EQ(choose_views(views, seen_by_all).views.size(), 2U);
  const std::vector<int> chosen = choose_views(views, seen_by_fill_too).views;
  ASSERT_EQ(chosen.size(), 3U);
  EXPECT_EQ(chosen.back(), 2) << "what is sharp comes first";
}

TEST(ViewChoice, PartsTheViewsByTheSideTheyComeFrom) {
  const std::vector<SweepView> views{view_from({0, 9, 40}), view_from({9, 1, 40}), view_from({0, -9, 40}),
                                     view_from({-9, 1, 40})};
  const ViewChoice choice = choose_views(views, {{-1, -1, 0}, {1, -1, 0}, {-1, 1, 0}, {1, 1, 0}});
  ASSERT_EQ(choice.views.size(), 4U);
  ASSERT_EQ(choice.sides.size(), 4U) << "west, east, south, north";
  const auto has = [&](std::size_t side, int view) {
    return std::any_of(choice.sides[side].begin(), choice.sides[side].end(),
                       [&](int position) { return choice.views[std::size_t(position)] == view; });
  };
  for (const auto& side : choice.sides) EXPECT_EQ(side.size(), 2U);
  EXPECT_TRUE(has(0, 3) && !has(0, 1));
  EXPECT_TRUE(has(1, 1) && !has(1, 3));
  EXPECT_TRUE(has(2, 2) && !has(2, 0));
  EXPECT_TRUE(has(3, 0) && !has(3, 2));
}

TEST(Gaps, NarrowOnesBesideAWallGetTheGroundAndWideOnesAreSmooth) {
  cv::Mat heights(64, 64, CV_32FC1, cv::Scalar(1)), known(heights.size(), CV_8UC1, cv::Scalar(255));
  heights.colRange(32, 64) = 5;  // a roof
  known.colRange(28, 32) = 0;    // the ground that it hides
  cv::Mat ramp(64, 200, CV_32FC1), seen(ramp.size(), CV_8UC1, cv::Scalar(255));
  for (int column = 0; column < ramp.cols; ++column) ramp.col(column) = 0.1 * column;
  seen.colRange(60, 140) = 0;
  heights.setTo(kNone, known == 0);
  fill_gaps(heights, known, 1);
  EXPECT_NEAR(heights.at<float>(30, 30), 1, 1e-5);
  ramp.setTo(kNone, seen == 0);
  fill_gaps(ramp, seen, 1);
  EXPECT_NEAR(ramp.at<float>(30, 100), 10, 1.5);
}

TEST(Gaps, ANarrowOneOnASlopeKeepsTheSlope) {
  cv::Mat ramp(64, 200, CV_32FC1), seen(ramp.size(), CV_8UC1, cv::Scalar(255));
  for (int column = 0; column < ramp.cols; ++column) ramp.col(column) = 0.1 * column;
  seen(cv::Rect(95, 20, 10, 20)) = 0;
  ramp.setTo(kNone, seen == 0);
  fill_gaps(ramp, seen, 5);
  for (int column = 95; column < 105; ++column) EXPECT_NEAR(ramp.at<float>(30, column), 0.1 * column, 0.5);
}

TEST(HeightGrid, IsLinearBetweenNodesAndCarriedOnBeyondTheRim) {
  HeightGrid grid{.columns = 3, .rows = 2, .step_px = 4, .heights = {0, 1, 2, 10, 11, 12}, .confidence = {}};
  // Node (1, 0) lies at mosaic pixel (5.5, 1.5).
  EXPECT_NEAR(grid.at(5.5, 1.5), 1, 1e-6);
  EXPECT_NEAR(grid.at(7.5, 3.5), 6.5, 1e-6);
  EXPECT_NEAR(grid.at(-100, 1.5), 0, 1e-6);
  EXPECT_NEAR(grid.at(100, 100), 12, 1e-6);
}

// The roof's edge runs straight between the nodes, and there is nothing between roof and ground.
TEST(HeightGrid, IsOneSideOrTheOtherAtAStep) {
  HeightGrid grid{.columns = 3,
                  .rows = 3,
                  .step_px = 4,
                  .heights = {9, 9, 0, 9, 0, 0, 0, 0, 0},
                  .confidence = {},
                  .wall = 5};
  for (double y = 1.5; y <= 9.5; y += 0.25)
    for (double x = 1.5; x <= 9.5; x += 0.25) {
      const double height = grid.at(x, y);
      EXPECT_TRUE(height == 0 || height == 9) << x << " " << y;
      // Nodes (1, 0) and (0, 1) are the last of the roof: the edge passes between them and their neighbours.
      const double beyond = x + y - 3;
      if (beyond < 3.5) {
        EXPECT_EQ(height, 9) << x << " " << y;
      }
      if (beyond > 7.5) {
        EXPECT_EQ(height, 0) << x << " " << y;
      }
    }
}

}  // namespace
}  // namespace lookdown::surface
