#include "stages/glare/glint/glitter_tiles.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {
namespace {

// Stored level of linear light (sRGB, IEC 61966-2-1).
cv::Scalar stored_bgr(const cv::Vec3d& light) {
  cv::Scalar levels;
  for (int c = 0; c < 3; ++c)
    levels[c] =
        255 * (light[c] <= 0.0031308 ? 12.92 * light[c] : 1.055 * std::pow(light[c], 1 / 2.4) - 0.055);
  return levels;
}

// Short strokes of one colour, as the crests of waves mirror the sun, until they cover nearly half of
// `where`.
void add_strokes(cv::Mat& bgr, const cv::Rect& where, const cv::Scalar& colour) {
  cv::RNG random(11);
  cv::Mat part = bgr(where);
  for (int i = 0; i < where.area() / 130; ++i)
    cv::ellipse(part, {random.uniform(0, where.width), random.uniform(0, where.height)},
                {random.uniform(4, 10), random.uniform(2, 4)}, random.uniform(-30, 30), 0, 360, colour,
                cv::FILLED, cv::LINE_AA);
}

const cv::Vec3d kRedWater(0.05, 0.07, 0.14), kVeil(0.05, 0.05, 0.05);
const cv::Scalar kSun(250, 252, 252);

TEST(DenseGlitter, IsWaterAndGlareWhereNoSmoothWaterIsInSight) {
  cv::Mat bgr(480, 640, CV_8UC3, stored_bgr(kRedWater + kVeil));
  add_strokes(bgr, {0, 0, 640, 480}, kSun);
  const SearchResult found = search_picture(prepare(bgr));
  EXPECT_GT(cv::countNonZero(found.water), 0.7 * static_cast<double>(found.water.total()));
  const cv::Mat white = luma_of(bgr) > 240, marked = found.glint.any();
  EXPECT_GT(cv::countNonZero(white & marked), 0.6 * cv::countNonZero(white));
  EXPECT_LT(cv::countNonZero(marked & (luma_of(bgr) < 120)), 0.1 * cv::countNonZero(marked));
}

// A slanting shore against grass crosses the grid of tiles, on which an eighth of its pixels lie by chance
// and all of an outline of tiles.
TEST(DenseGlitter, EndsAtThePicturesBordersAndNotOnTheGridOfTiles) {
  cv::Mat bgr(600, 800, CV_8UC3, stored_bgr(kRedWater + kVeil)), grass(bgr.size(), CV_8UC3),
      land = cv::Mat::zeros(bgr.size(), CV_8UC1);
  add_strokes(bgr, {0, 0, 800, 600}, kSun);
  cv::fillConvexPoly(land, std::vector<cv::Point>{{800, 0}, {800, 600}, {330, 600}, {530, 0}},
                     cv::Scalar(255));
  cv::RNG(5).fill(grass, cv::RNG::NORMAL, stored_bgr({0.03, 0.13, 0.06}), cv::Scalar::all(14));
  grass.copyTo(bgr, land);
  const cv::Mat field = search_picture(prepare(bgr)).glint.field;
  int on_grid = 0, all = 0;
  for (int y = 0; y < field.rows; ++y)
    for (int x = 1; x < field.cols; ++x)
      if (field.at<uchar>(y, x) != field.at<uchar>(y, x - 1)) ++all, on_grid += x % kGlitterTilePx == 0;
  ASSERT_GT(all, field.rows / 2);
  EXPECT_LT(on_grid, 0.3 * all);
}

// The nearer to the mirror point the more waves mirror the sun, until white is all there is: no dark side
// tells of water there, but the specks around do. A white board afloat has none around it.
TEST(Glitter, GoesOnThroughItsWhiteMidst) {
  const cv::Point mirror(330, 300);
  constexpr int kMidstPx = 70;
  cv::Mat bgr(600, 800, CV_8UC3, stored_bgr({0.05, 0.06, 0.05}));
  cv::RNG random(5);
  for (int i = 0; i < 6000; ++i) {
    const double away_px = std::abs(random.gaussian(90)), turn = random.uniform(0.0, 2 * CV_PI);
    const cv::Point at =
        mirror + cv::Point(cvRound(away_px * std::cos(turn)), cvRound(away_px * std::sin(turn)));
    cv::ellipse(bgr, at, {random.uniform(3, 9), random.uniform(1, 3)}, 20 + random.uniform(-12, 12), 0, 360,
                kSun, cv::FILLED, cv::LINE_AA);
  }
  cv::circle(bgr, mirror, kMidstPx, kSun, cv::FILLED);
  const cv::Rect board(640, 420, 110, 60);
  bgr(board).setTo(kSun);
  const SearchResult found = search_picture(prepare(bgr));
  const cv::Mat marked = found.glint.any();
  cv::Mat midst = cv::Mat::zeros(bgr.size(), CV_8UC1);
  cv::circle(midst, mirror, kMidstPx, cv::Scalar(255), cv::FILLED);
  EXPECT_GT(cv::countNonZero(marked & midst), 0.9 * cv::countNonZero(midst));
  EXPECT_LT(cv::countNonZero(marked(board)), 0.1 * board.area());
}

// Stones are as bright, but what lies between them is shade, which is dark without a colour of its own.
TEST(DenseGlitter, IsNotWhatLiesInItsOwnShade) {
  cv::Mat bgr(480, 640, CV_8UC3, stored_bgr({0.03, 0.03, 0.03}));
  add_strokes(bgr, {0, 0, 640, 480}, {205, 210, 212});
  EXPECT_EQ(cv::countNonZero(glitter_tiles(bgr, {320, 240}).dense), 0);
}

}  // namespace
}  // namespace lookdown::glare
