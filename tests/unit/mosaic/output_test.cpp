// What people print and send on: the sheet's grid and words, and the picture without marks.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <opencv2/core.hpp>

#include "stages/mosaic/output/clean_picture.h"
#include "stages/mosaic/output/print/print_sheet.h"

namespace lookdown::mosaic {
namespace {

using testing::HasSubstr;
using testing::Not;

// Every rectangle tried in turn.
int largest_area(const cv::Mat& alpha) {
  int best = 0;
  for (int top = 0; top < alpha.rows; ++top)
    for (int left = 0; left < alpha.cols; ++left)
      for (int bottom = top; bottom < alpha.rows; ++bottom)
        for (int right = left; right < alpha.cols; ++right) {
          const cv::Rect area(left, top, right - left + 1, bottom - top + 1);
          if (cv::countNonZero(alpha(area) == 255) == area.area()) best = std::max(best, area.area());
        }
  return best;
}

TEST(CleanPicture, IsTheLargestRectangleWithoutAHole) {
  cv::RNG random(5);
  for (int round = 0; round < 40; ++round) {
    cv::Mat alpha(9, 11, CV_8UC1, cv::Scalar(255));
    for (int hole = 0; hole < round / 2; ++hole)
      alpha.at<uchar>(random.uniform(0, alpha.rows), random.uniform(0, alpha.cols)) = 0;
    const cv::Rect found = largest_covered_rectangle(alpha);
    EXPECT_EQ(found.area(), largest_area(alpha)) << alpha;
    if (!found.empty()) {
      EXPECT_EQ(cv::countNonZero(alpha(found)), found.area());
    }
  }
  EXPECT_TRUE(largest_covered_rectangle(cv::Mat::zeros(4, 4, CV_8UC1)).empty());
}

TEST(PrintSheet, ScaleAndGridAreRound) {
  EXPECT_EQ(scale_in_words(500), "1 cm = 5 m");
  EXPECT_EQ(scale_in_words(75), "1 cm = 0.75 m");
  // 30 mm at 1:250 are 7.5 m, at 1:1000 30 m: the next of 1, 2, 5 and their tenfolds.
  EXPECT_DOUBLE_EQ(grid_step_m(250, 30), 10);
  EXPECT_DOUBLE_EQ(grid_step_m(1000, 30), 50);
}

Canvas forty_metres() {
  Canvas canvas;
  canvas.width_px = 400, canvas.height_px = 300;
  canvas.gsd_m = 0.1;
  canvas.geotransform = {1000, 0.1, 0, 2030, 0, -0.1};
  return canvas;
}

std::string sheet_of(const Canvas& canvas, bool north_known) {
  const ReadArea read = [](const cv::Rect&, cv::Size size) {
    return cv::Mat(size, CV_8UC4, cv::Scalar::all(255));
  };
  return print_sheet(canvas, read, {"Reed beds", "2025-06-21", "Not tested.", 12, north_known}, "A4", 250);
}

// 40 x 30 m at 1:250 are 160 x 120 mm: 453.5433 x 340.1575 points of 1/72 inch. Grid lines every 10 m.
TEST(PrintSheet, SaysWhatWhereWhenAndHowLarge) {
  const std::string sheet = sheet_of(forty_metres(), true);
  EXPECT_THAT(sheet, HasSubstr("q 453.5433 0 0 340.1575"));
  for (const char* words : {"(Reed beds", "2025-06-21", "1 cm = 2.5 m", "(1010)", "(1030)", "(2010)", "(N)",
                            "Local coordinates in metres", "licensed survey"})
    EXPECT_THAT(sheet, HasSubstr(words));
  EXPECT_THAT(sheet_of(forty_metres(), false), Not(HasSubstr("(N)")));
}

}  // namespace
}  // namespace lookdown::mosaic
