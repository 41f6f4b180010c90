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
#include "stages/surface/matching/edge_snapping.h"
#include "stages/surface/matching/plane_sweep.h"
#include "stages/surface/matching/semi_global.h"
#include "stages/surface/matching/sweep_views.h"

namespace lookdown::surface {
namespace {

constexpr float kNone = std::numeric_limits<float>::quiet_NaN();

cv::Mat noise(cv::Size size, unsigned seed) {
  cv::Mat picture(size, CV_8UC1);
  cv::RNG random(seed * 2654435761ULL + 17);  // small seeds give sequences that are alike
  random.fill(picture, cv::RNG::UNIFORM, 1, 255);
  cv::GaussianBlur(picture, picture, {}, 1.2);
  return picture;
}

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
  Sweep task{size, 20, 3, {{0, 1}, {0, 2}, {1, 2}}, [&](int view, int hypothesis, cv::Mat& grey) {
               cv::Mat map(size, CV_32FC2);
               for (int row = 0; row < size.height; ++row)
                 for (int column = 0; column < size.width; ++column)
                   map.at<cv::Vec2f>(row, column) = {
                       float(50 + column + bases[view] * (hypothesis - truth(column))), float(row)};
               cv::remap(ground, grey, map, cv::noArray(), cv::INTER_LINEAR);
               const cv::Rect before(40, 20, 20, 20);
               if (view == 2) thing(before).copyTo(grey(before));
             }};
  const SweepAnswer answer = sweep(task);
  for (int row = 4; row < size.height - 4; ++row)
    for (int column = 4; column < size.width - 4; ++column)
      ASSERT_NEAR(answer.hypothesis.at<float>(row, column), truth(column), 1) << row << " " << column;
  std::vector<cv::Mat> shown(3);
  for (int view = 0; view < 3; ++view) task.look(view, 9, shown[std::size_t(view)]);  // right at column 48
  const cv::Mat agreeing = agreeing_views(shown, task.pairs);
  EXPECT_EQ(agreeing.at<uchar>(30, 48), 2);
  EXPECT_EQ(agreeing.at<uchar>(10, 48), 3);
  EXPECT_EQ(agreeing.at<uchar>(10, 8), 0);
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

/// A roof of height 10 to the left of a slanting line on ground of height 0, and where the line is in a row.
struct PaintedRoof {
  cv::Mat heights{80, 120, CV_32FC1, cv::Scalar(0)}, look;
  static int edge(int row) { return 50 + row / 4; }
  PaintedRoof() {
    look = noise({120, 80}, 9) / 8 + 60;  // grass
    for (int row = 0; row < 80; ++row) {
      heights(cv::Rect(0, row, edge(row), 1)) = 10;
      for (int column = 0; column < edge(row); ++column)  // ribs of a sheet roof, down to its eaves
        look.at<uchar>(row, column) = uchar(150 + look.at<uchar>(row, column) / 8 + (row % 8 < 2 ? -40 : 0));
    }
  }
};

cv::Mat after_a_vote(const cv::Mat& heights, const cv::Mat& known, const cv::Mat& look) {
  const Sides sides = sides_of_steps(heights, 3);
  return vote_for_sides(heights, known, sides, {look}, sides.at_step);
}

// The truth is the outline that the picture was painted with; raggedness of 4 nodes is what matching leaves.
TEST(EdgeSnapping, BringsARaggedEdgeToThePicturesEdge) {
  const PaintedRoof roof;
  cv::Mat ragged = roof.heights.clone();
  cv::RNG random(77);
  for (int row = 0; row < 80; row += 3) {
    const int off = random.uniform(-4, 5), edge = PaintedRoof::edge(row);
    for (int r = row; r < std::min(80, row + 3); ++r)
      for (int column = std::min(edge, edge + off); column < std::max(edge, edge + off); ++column)
        ragged.at<float>(r, column) = off > 0 ? 10 : 0;
  }
  const cv::Mat known(ragged.size(), CV_8UC1, cv::Scalar(255));
  const double wrong_before = cv::countNonZero(cv::abs(ragged - roof.heights) > 1);
  cv::Mat snapped = ragged;
  for (int pass = 0; pass < 3; ++pass) snapped = after_a_vote(snapped, known, roof.look);
  EXPECT_LT(cv::countNonZero(cv::abs(snapped - roof.heights) > 1), 0.2 * wrong_before);
  for (int row = 2; row < 78; ++row) {
    const cv::Mat upper = snapped.row(row) > 5;
    EXPECT_NEAR(cv::countNonZero(upper), PaintedRoof::edge(row), 1.5) << row;
  }
}

TEST(EdgeSnapping, LeavesWhatLooksAlikeOnBothSidesAndSlopesAsTheyAre) {
  PaintedRoof roof;
  const cv::Mat known(roof.heights.size(), CV_8UC1, cv::Scalar(255)), grass = noise({120, 80}, 5);
  const cv::Mat alike = after_a_vote(roof.heights, known, grass);
  EXPECT_LT(cv::countNonZero(cv::abs(alike - roof.heights) > 1), 20);
  cv::Mat slope(80, 120, CV_32FC1);
  for (int column = 0; column < 120; ++column) slope.col(column) = 0.2 * column;
  const cv::Mat voted = after_a_vote(slope, known, roof.look);
  EXPECT_EQ(cv::countNonZero(voted != slope), 0);
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
