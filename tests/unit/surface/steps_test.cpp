// Steps of the surface on made-up heights and pictures.
#include <gtest/gtest.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <memory>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/surface/steps/carried_on.h"
#include "stages/surface/steps/edge_snapping.h"
#include "stages/surface/steps/side_likeness.h"
#include "tests/unit/surface/noise.h"

namespace lookdown::surface {
namespace {

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

cv::Mat after_a_cut(const cv::Mat& heights, const cv::Mat& look) {
  return cut_between_sides(heights, sides_of_steps(heights, 3), cv::Mat::zeros(heights.size(), CV_32FC1),
                           look);
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
  const double wrong_before = cv::countNonZero(cv::abs(ragged - roof.heights) > 1);
  cv::Mat snapped = ragged;
  for (int pass = 0; pass < 3; ++pass) snapped = after_a_cut(snapped, roof.look);
  EXPECT_LT(cv::countNonZero(cv::abs(snapped - roof.heights) > 1), 0.2 * wrong_before);
  for (int row = 2; row < 78; ++row) {
    const cv::Mat upper = snapped.row(row) > 5;
    EXPECT_NEAR(cv::countNonZero(upper), PaintedRoof::edge(row), 1.5) << row;
  }
}

TEST(EdgeSnapping, LeavesWhatLooksAlikeOnBothSidesAndSlopesAsTheyAre) {
  const PaintedRoof roof;
  const cv::Mat grass = noise({120, 80}, 5);
  const cv::Mat alike = after_a_cut(roof.heights, grass);
  EXPECT_LT(cv::countNonZero(cv::abs(alike - roof.heights) > 1), 20);
  cv::Mat slope(80, 120, CV_32FC1);
  for (int column = 0; column < 120; ++column) slope.col(column) = 0.2 * column;
  EXPECT_EQ(cv::countNonZero(after_a_cut(slope, roof.look) != slope), 0);
}

TEST(EdgeSnapping, FollowsWhatTheViewsSayWhereThePictureShowsNoEdge) {
  const PaintedRoof roof;
  // The step lies five nodes too far out, as census windows leave it.
  cv::Mat grown = roof.heights.clone(), likeness(grown.size(), CV_32FC1);
  for (int row = 0; row < 80; ++row) {
    grown(cv::Rect(0, row, PaintedRoof::edge(row) + 5, 1)) = 10;
    for (int column = 0; column < 120; ++column)
      likeness.at<float>(row, column) = column < PaintedRoof::edge(row) ? 4 : -4;
  }
  const cv::Mat even(grown.size(), CV_8UC1, cv::Scalar(128));
  const cv::Mat placed = cut_between_sides(grown, sides_of_steps(grown, 3), likeness, even);
  for (int row = 4; row < 76; ++row) {
    const cv::Mat upper = placed.row(row) > 5;
    EXPECT_NEAR(cv::countNonZero(upper), PaintedRoof::edge(row), 1.5) << row;
  }
}

// z = 0.4 x on the left of column 60, given up to column 50: the plane goes on for a few nodes.
TEST(CarriedOn, GoesOnAlongThePlaneOfItsOwnSide) {
  cv::Mat heights(60, 100, CV_32FC1, cv::Scalar(-30)), there(heights.size(), CV_8UC1, cv::Scalar(0));
  for (int column = 0; column < 60; ++column) heights.col(column) = 0.4 * column;
  there.colRange(0, 51) = 255;
  const cv::Mat carried = carried_on(heights, there, cv::Mat(heights.size(), CV_8UC1, cv::Scalar(255)));
  EXPECT_NEAR(carried.at<float>(30, 56), 0.4 * 56, 0.5);
  EXPECT_FLOAT_EQ(carried.at<float>(30, 20), 0.4F * 20);
  EXPECT_NEAR(carried.at<float>(30, 95), carried.at<float>(30, 70), 1e-4) << "level after that";
}

/// Pictures, by ray casting, of a roof of height 10 west of x = 0 over ground of height 0, both strewn with
/// detail; the wall between is of one shade.
cv::Mat picture_of_a_roof(const SweepView& view) {
  static const cv::Mat kRoof = noise({800, 800}, 31), kGround = noise({800, 800}, 32);
  cv::Mat picture(view.size, CV_8UC1);
  const Eigen::Matrix3d world_from_picture = view.picture_from_world.inverse();
  const auto shade = [](const cv::Mat& texture, const Eigen::Vector3d& at) {
    const auto repeated = [](double where, int period) {
      return ((int(std::floor(400 + 16 * where)) % period) + period) % period;
    };
    return texture.at<uchar>(repeated(at.y(), texture.rows), repeated(at.x(), texture.cols));
  };
  for (int row = 0; row < picture.rows; ++row)
    for (int column = 0; column < picture.cols; ++column) {
      const Eigen::Vector3d ray = world_from_picture * Eigen::Vector3d(column, row, 1);
      const auto at_height = [&](double z) {
        return Eigen::Vector3d(view.centre + ray * ((z - view.centre.z()) / ray.z()));
      };
      const Eigen::Vector3d high = at_height(10), low = at_height(0);
      picture.at<uchar>(row, column) = high.x() < 0  ? shade(kRoof, high)
                                       : low.x() < 0 ? 90
                                                     : shade(kGround, low);
    }
  return picture;
}

SweepView view_at(double x, double y) {
  SweepView view;
  view.centre = {x, y, 50};
  view.size = {400, 400};
  Camera camera = assumed_camera(400, 400);
  camera.fx_px = camera.fy_px = 400;
  view.picture_from_world = camera.matrix() * straight_down(view.centre).world_from_camera.transpose();
  return view;
}

/// What the pictures say of the roof when its step is taken to lie five nodes too far east, at column 45 for
/// 40.
cv::Mat said_of_a_roof(const std::vector<SweepView>& views, const std::vector<cv::Mat>& shown) {
  std::vector<const SweepView*> chosen;
  std::vector<SweepPictures::Picture> pictures;
  for (std::size_t i = 0; i < views.size(); ++i) {
    chosen.push_back(&views[i]);
    pictures.push_back(std::make_shared<const cv::Mat>(shown[i]));
  }
  // Nodes 0.25 apart, x = 0 at column 40.
  NodeGrid grid{80, 40, Eigen::Matrix3d::Identity(), 0.25};
  grid.ground_from_node << 0.25, 0, -10, 0, -0.25, 5, 0, 0, 1;
  cv::Mat grown(40, 80, CV_32FC1, cv::Scalar(0));
  grown.colRange(0, 45) = 10;
  return SideLikeness(grid, cv::Rect(0, 0, 80, 40), chosen, pictures, grown)
      .at(cv::Mat(grown.size(), CV_32FC1, cv::Scalar(10)), cv::Mat(grown.size(), CV_32FC1, cv::Scalar(0)),
          grown, cv::Mat(grown.size(), CV_8UC1, cv::Scalar(255)));
}

TEST(SideLikeness, TellsRoofFromGroundBesideIt) {
  std::vector<SweepView> views;
  std::vector<cv::Mat> pictures;
  for (const double x : {-8.0, -3.0, 3.0, 8.0})
    for (const double y : {-3.0, 3.0}) {
      views.push_back(view_at(x, y));
      pictures.push_back(picture_of_a_roof(views.back()));
    }
  const cv::Mat likeness = said_of_a_roof(views, pictures);
  EXPECT_GT(cv::mean(likeness.colRange(35, 39))[0], 3);
  EXPECT_LT(cv::mean(likeness.colRange(41, 45))[0], -3);
}

TEST(SideLikeness, ViewsThatFillSayNothingWhereTwoOthersSee) {
  std::vector<SweepView> views{view_at(0, 3), view_at(3, 0), view_at(8, 3), view_at(-8, -3)};
  std::vector<cv::Mat> pictures;
  pictures.reserve(views.size());
  for (const SweepView& view : views) pictures.push_back(picture_of_a_roof(view));
  for (const int other : {0, 1}) pictures[std::size_t(other)] = noise(views[0].size, 40 + other);
  const auto roof_less_ground = [&] {
    const cv::Mat likeness = said_of_a_roof(views, pictures);
    return cv::mean(likeness.colRange(35, 39))[0] - cv::mean(likeness.colRange(41, 45))[0];
  };
  const double with_a_say = roof_less_ground();
  views[0].fills = views[1].fills = true;
  EXPECT_GT(roof_less_ground(), with_a_say + 1) << "they show something else";
}

TEST(SideLikeness, ViewsThatFillHaveASayWhereOneOtherSees) {
  std::vector<SweepView> views{view_at(8, 3), view_at(3, -3)};
  views[0].fills = true;
  const cv::Mat likeness = said_of_a_roof(views, {picture_of_a_roof(views[0]), picture_of_a_roof(views[1])});
  EXPECT_GT(cv::mean(likeness.colRange(35, 39))[0], 1);
}

}  // namespace
}  // namespace lookdown::surface
