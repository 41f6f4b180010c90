// Rectification against pictures of Debian's opencv-doc: graf1.png, graf3.png with their published homography
// H1to3p.xml, and the chessboard views left01..14.jpg with left_intrinsics.yml.
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <numeric>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "stages/inspect/camera_choice.h"
#include "stages/place/features/descriptor_match.h"
#include "stages/place/features/features.h"
#include "stages/rectify/rectify.h"

namespace lookdown::rectify {
namespace {

const std::string kPictures = "/usr/share/doc/opencv-doc/examples/data/";

Eigen::Matrix3d published_homography() {
  const cv::FileStorage storage(kPictures + "H1to3p.xml", cv::FileStorage::READ);
  cv::Mat matrix;
  storage["H13"] >> matrix;
  matrix.convertTo(matrix, CV_64F);
  Eigen::Matrix3d h;
  for (int i = 0; i < 9; ++i) h(i / 3, i % 3) = matrix.at<double>(i / 3, i % 3);
  return h;
}

double largest_corner_error(const Homography<Ground, UndistortedPx>& found) {
  const Homography<Ground, UndistortedPx> truth{published_homography()};
  double worst = 0;
  for (const Point2<UndistortedPx> corner : {Point2<UndistortedPx>{0, 0}, {799, 0}, {799, 639}, {0, 639}})
    worst = std::max(
        worst, std::hypot((found * corner).x - (truth * corner).x, (found * corner).y - (truth * corner).y));
  return worst;
}

// Positions under H1to3p.xml as check values give them: three points and, for a fourth, the file itself.
TEST(GraffitiHomography, GivenPointsBringTheCornersWithinHalfAPixel) {
  const Homography<Ground, UndistortedPx> truth{published_homography()};
  const auto fourth = truth * Point2<UndistortedPx>{100, 600};
  const auto fitted = fit_homography(
      {{0, 0}, {799, 639}, {400, 320}, {100, 600}},
      {{225.6712, -77.0000}, {507.9655, 661.3207}, {383.6332, 336.2963}, {fourth.x, fourth.y}});
  ASSERT_TRUE(fitted) << fitted.error().message();
  EXPECT_LT(largest_corner_error(*fitted), 0.5);
}

struct MatchedPoints {
  std::vector<cv::Point2f> from, to;
};

MatchedPoints matched(const cv::Mat& first, const cv::Mat& second) {
  const auto spots = [](const cv::Mat& picture) {
    return place::find_features(picture, picture.cols, picture.rows, {},
                                {.work_megapixels = 1.5, .most = 8000});
  };
  const auto a = spots(first), b = spots(second);
  MatchedPoints points;
  for (const auto& m : place::match_all(a, place::widen(a, a.size()), b, place::widen(b, b.size()), 0.8)) {
    points.from.emplace_back(a.spots[m.a].x_px, a.spots[m.a].y_px);
    points.to.emplace_back(b.spots[m.b].x_px, b.spots[m.b].y_px);
  }
  return points;
}

/// The plane that most matches agree on, fitted to them all.
Result<Homography<Ground, UndistortedPx>> agreed_plane(const MatchedPoints& points, double tolerance_px) {
  std::vector<uchar> inlier;
  cv::findHomography(points.from, points.to, cv::USAC_MAGSAC, tolerance_px, inlier, 20000, 0.9999);
  std::vector<Point2<UndistortedPx>> frame;
  std::vector<Point2<Ground>> ground;
  for (std::size_t i = 0; i < inlier.size(); ++i)
    if (inlier[i]) {
      frame.push_back({points.from[i].x, points.from[i].y});
      ground.push_back({points.to[i].x, points.to[i].y});
    }
  return fit_homography(frame, ground);
}

// A view 40 degrees apart matches badly and unevenly; once laid onto the other's plane by a first fit it
// matches well, all over.
TEST(GraffitiHomography, AutomaticMatchesBringTheCornersWithinOneAndAHalfPixels) {
  const cv::Mat first = cv::imread(kPictures + "graf1.png", cv::IMREAD_GRAYSCALE);
  const cv::Mat second = cv::imread(kPictures + "graf3.png", cv::IMREAD_GRAYSCALE);
  ASSERT_FALSE(first.empty() || second.empty());
  auto fitted = agreed_plane(matched(first, second), 2.0);
  ASSERT_TRUE(fitted);
  for (int round = 0; round < 2; ++round) {
    const cv::Matx33d laid_from_first = [&] {
      cv::Matx33d m;
      for (int i = 0; i < 9; ++i) m.val[i] = fitted->matrix(i / 3, i % 3);
      return m;
    }();
    cv::Mat laid;
    cv::warpPerspective(first, laid, laid_from_first, second.size(), cv::INTER_CUBIC);
    MatchedPoints points = matched(laid, second), near;
    const auto first_from_laid = fitted->inverse();
    for (std::size_t i = 0; i < points.from.size(); ++i) {
      if (cv::norm(points.from[i] - points.to[i]) > 8) continue;
      const auto back = first_from_laid * Point2<Ground>{points.from[i].x, points.from[i].y};
      const bool at_border = back.x < 8 || back.y < 8 || back.x > first.cols - 9 || back.y > first.rows - 9;
      if (at_border) continue;  // the picture's own edge is no spot of the wall
      near.from.emplace_back(static_cast<float>(back.x), static_cast<float>(back.y));
      near.to.push_back(points.to[i]);
    }
    fitted = agreed_plane(near, 1.5);
    ASSERT_TRUE(fitted);
  }
  EXPECT_LT(largest_corner_error(*fitted), 1.5);
}

constexpr int kAcross = 9, kDown = 6, kSides = kDown * (kAcross - 1) + kAcross * (kDown - 1);

/// The plane of a real view.
Homography<Ground, UndistortedPx> board_from_frame(const Camera& camera,
                                                   const std::vector<cv::Point2f>& corners) {
  std::vector<Point2<UndistortedPx>> frame;
  std::vector<Point2<Ground>> ground;
  for (int i = 0; i < kAcross * kDown; ++i) {
    frame.push_back(camera.undistort({corners[i].x, corners[i].y}));
    ground.push_back({static_cast<double>(i % kAcross), static_cast<double>(i / kAcross)});
  }
  const auto h = fit_homography(frame, ground);
  EXPECT_TRUE(h);
  return *h;
}

/// Sides of the squares of a rectified board, row by row, then column by column; 1 = the board's own square.
std::array<double, kSides> rectified_sides(const Camera& camera, const std::vector<cv::Point2f>& corners) {
  const Homography<Ground, UndistortedPx> board = board_from_frame(camera, corners);
  std::array<double, kSides> sides{};
  int at = 0;
  const auto add = [&](int a, int b) {
    const auto p = board * camera.undistort({corners[a].x, corners[a].y}),
               q = board * camera.undistort({corners[b].x, corners[b].y});
    sides[at++] = std::hypot(p.x - q.x, p.y - q.y);
  };
  for (int row = 0; row < kDown; ++row)
    for (int i = 0; i + 1 < kAcross; ++i) add(row * kAcross + i, row * kAcross + i + 1);
  for (int column = 0; column < kAcross; ++column)
    for (int i = 0; i + 1 < kDown; ++i) add(i * kAcross + column, (i + 1) * kAcross + column);
  return sides;
}

double spread_about_one(const std::array<double, kSides>& sides) {
  double squares = 0;
  for (const double side : sides) squares += (side - 1) * (side - 1);
  return std::sqrt(squares / kSides);
}

// Windows of 15 pixels stay within the squares of the farthest view.
void refine(const cv::Mat& picture, std::vector<cv::Point2f>& corners) {
  cv::cornerSubPix(picture, corners, {7, 7}, {-1, -1},
                   {cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 100, 1e-4});
}

std::vector<cv::Point2f> board_corners(int number) {
  const cv::Mat picture =
      cv::imread(cv::format("%sleft%02d.jpg", kPictures.c_str(), number), cv::IMREAD_GRAYSCALE);
  std::vector<cv::Point2f> corners;
  if (picture.empty() || !cv::findChessboardCorners(picture, {kAcross, kDown}, corners)) return {};
  refine(picture, corners);
  return corners;
}

// Squares of a rectified chessboard are equal whatever its tilt: the sides of all squares of all views agree
// within 0.5 % (standard deviation; 1209 sides), and so do the means of each row and each column of squares
// of each view. Lens distortion is taken out by the calibration file. What is left is the print and the
// finding of corners, not the rectification: a calibration of these pictures that also solves for the board's
// own shape (OpenCV's calibrateCameraRO) brings the residuals from 0.18 to 0.11 px, with corners up to 1.6 %
// of a square off the plane and 1.1 % off the grid; the same side averaged over the views still differs by
// 0.25 % (standard deviation); and corners are found to 0.08 px, 0.3 % of a square some 35 px wide.
TEST(Chessboard, RectifiedViewsHaveEqualSquares) {
  const Camera camera = inspect::read_calibration(kPictures + "left_intrinsics.yml");
  int views = 0;
  double squares = 0;
  for (int number = 1; number <= 14; ++number) {
    const auto corners = board_corners(number);
    if (corners.empty()) continue;
    const auto sides = rectified_sides(camera, corners);
    double mean = 0;
    for (const double side : sides) mean += side / kSides;
    EXPECT_NEAR(mean, 1, 0.005) << "left" << number;
    const auto mean_of = [&](int first, int count) {
      return std::accumulate(sides.begin() + first, sides.begin() + first + count, 0.0) / count;
    };
    for (int row = 0; row < kDown; ++row)
      EXPECT_NEAR(mean_of(row * (kAcross - 1), kAcross - 1), mean, 0.005) << "left" << number;
    for (int column = 0; column < kAcross; ++column)
      EXPECT_NEAR(mean_of(kDown * (kAcross - 1) + column * (kDown - 1), kDown - 1), mean, 0.005)
          << "left" << number;
    EXPECT_LT(spread_about_one(sides), 0.006)
        << "left" << number << ": single sides, with the corners' own scatter";
    squares += std::pow(spread_about_one(sides), 2);
    ++views;
  }
  ASSERT_GE(views, 12);
  EXPECT_LT(std::sqrt(squares / views), 0.005);
}

/// An exact board as the camera sees it from where a real view was taken, through the same lens, slightly
/// soft.
cv::Mat drawn_board(const Camera& camera, const Homography<Ground, UndistortedPx>& board_from_frame) {
  constexpr int kFine = 4;
  cv::Mat picture(480, 640, CV_32F);
  for (int y = 0; y < picture.rows; ++y)
    for (int x = 0; x < picture.cols; ++x) {
      // Within a pixel the lens is a plane: undistorted at its corners only.
      const auto at = [&](double dx, double dy) {
        return board_from_frame * camera.undistort({x + dx, y + dy});
      };
      const auto a = at(-0.5, -0.5), b = at(0.5, -0.5), c = at(-0.5, 0.5);
      int dark = 0, inside = 0;
      for (int j = 0; j < kFine; ++j)
        for (int i = 0; i < kFine; ++i) {
          const double u = (i + 0.5) / kFine, v = (j + 0.5) / kFine;
          const double bx = a.x + u * (b.x - a.x) + v * (c.x - a.x),
                       by = a.y + u * (b.y - a.y) + v * (c.y - a.y);
          if (bx < -1 || by < -1 || bx >= kAcross || by >= kDown) continue;
          ++inside;
          dark += (static_cast<int>(std::floor(bx)) + static_cast<int>(std::floor(by))) & 1;
        }
      picture.at<float>(y, x) =
          inside == 0 ? 150.0F
                      : static_cast<float>(40 * dark + 200 * (kFine * kFine - dark)) / (kFine * kFine);
    }
  cv::GaussianBlur(picture, picture, {}, 0.8);
  cv::Mat bytes;
  picture.convertTo(bytes, CV_8U);
  return bytes;
}

// The same views of a board that is exact. Corners where the lens puts them, to float precision: every single
// side within 0.01 %, so that the way from frame to ground adds nothing. Corners as they are found in drawn
// pictures without noise: 0.5 % (standard deviation), and single sides beyond it.
TEST(Chessboard, RectifiedViewsOfAnExactBoardHaveEqualSquares) {
  const Camera camera = inspect::read_calibration(kPictures + "left_intrinsics.yml");
  for (const int number : {1, 3, 6, 9}) {
    std::vector<cv::Point2f> corners = board_corners(number);
    ASSERT_FALSE(corners.empty());
    const auto pose = board_from_frame(camera, corners);
    const auto frame_from_board = pose.inverse();
    for (int i = 0; i < kAcross * kDown; ++i) {
      const auto seen = camera.distort(frame_from_board * Point2<Ground>{static_cast<double>(i % kAcross),
                                                                         static_cast<double>(i / kAcross)});
      corners[i] = {static_cast<float>(seen.x), static_cast<float>(seen.y)};
    }
    for (const double side : rectified_sides(camera, corners)) EXPECT_NEAR(side, 1, 1e-4) << "left" << number;
    refine(drawn_board(camera, pose), corners);
    EXPECT_LT(spread_about_one(rectified_sides(camera, corners)), 0.005) << "left" << number;
  }
}

// The same board measured without its known corners: its two families of parallels give the plane, and its
// squares come out square.
TEST(Chessboard, TwoFamiliesOfParallelsMakeTheSquaresSquare) {
  const Camera camera = inspect::read_calibration(kPictures + "left_intrinsics.yml");
  int views = 0;
  for (const int number : {1, 2, 3, 5, 6, 9}) {
    const cv::Mat picture =
        cv::imread(cv::format("%sleft%02d.jpg", kPictures.c_str(), number), cv::IMREAD_GRAYSCALE);
    std::vector<cv::Point2f> c;
    if (picture.empty() || !cv::findChessboardCorners(picture, {9, 6}, c)) continue;
    cv::cornerSubPix(picture, c, {5, 5}, {-1, -1},
                     {cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 50, 1e-3});
    std::vector<FrameEdge> rows, columns;
    for (int row = 0; row < 6; ++row)
      rows.push_back({{c[row * 9].x, c[row * 9].y}, {c[row * 9 + 8].x, c[row * 9 + 8].y}});
    for (int column = 0; column < 9; ++column)
      columns.push_back({{c[column].x, c[column].y}, {c[45 + column].x, c[45 + column].y}});
    const auto view = view_from_parallels(camera, rows, columns, {});
    ASSERT_TRUE(view) << view.error().message();
    const auto at = [&](int i) { return view->ground_from_frame * camera.undistort({c[i].x, c[i].y}); };
    const auto a = at(0), b = at(8), d = at(45), e = at(53);
    const double width = 0.5 * (std::hypot(b.x - a.x, b.y - a.y) + std::hypot(e.x - d.x, e.y - d.y)) / 8;
    const double height = 0.5 * (std::hypot(d.x - a.x, d.y - a.y) + std::hypot(e.x - b.x, e.y - b.y)) / 5;
    // Small boards far away fix their vanishing points worse than marks do: 3 %.
    EXPECT_NEAR(width / height, 1, 0.03) << "left" << number;
    ++views;
  }
  EXPECT_GE(views, 4);
}

}  // namespace
}  // namespace lookdown::rectify
