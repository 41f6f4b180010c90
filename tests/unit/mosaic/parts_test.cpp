// The parts of the stage, each against a plain slow version or a formula.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <random>
#include <set>

#include "pipeline/base/minimum_cut.h"
#include "pipeline/imaging/resampling/lanczos.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/geometry/warp.h"
#include "stages/mosaic/output/preview.h"
#include "stages/mosaic/output/print/pdf_document.h"
#include "stages/mosaic/output/print/print_sheet.h"
#include "stages/mosaic/output/world_file.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "stages/mosaic/render/multi_band_blending.h"
#include "stages/mosaic/render/render.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

TEST(MinimumCut, EqualsTheBestOfAllCutsOfSmallGraphs) {
  std::mt19937 random(3);
  std::uniform_int_distribution<int> capacity(0, 9), anyone(0, 8);
  for (int trial = 0; trial < 200; ++trial) {
    constexpr int kNodes = 9, kLinks = 18;
    MinimumCut cut(kNodes, kLinks);
    std::vector<std::array<int, 2>> terminals(kNodes);
    std::vector<std::array<int, 4>> links;
    for (int node = 0; node < kNodes; ++node) {
      terminals[node] = {capacity(random), capacity(random)};
      cut.add_terminal(node, terminals[node][0], terminals[node][1]);
    }
    for (int link = 0; link < kLinks; ++link) {
      links.push_back({anyone(random), anyone(random), capacity(random), capacity(random)});
      if (links.back()[0] == links.back()[1]) links.back()[1] = (links.back()[0] + 1) % kNodes;
      cut.add_link(links.back()[0], links.back()[1], links.back()[2], links.back()[3]);
    }
    const auto cost = [&](int sides) {  // bit set: sink side
      int sum = 0;
      for (int node = 0; node < kNodes; ++node) sum += terminals[node][(sides >> node & 1) ? 0 : 1];
      for (const auto& [a, b, forth, back] : links) {
        if (!(sides >> a & 1) && (sides >> b & 1)) sum += forth;
        if ((sides >> a & 1) && !(sides >> b & 1)) sum += back;
      }
      return sum;
    };
    int least = cost(0);
    for (int sides = 1; sides < 1 << kNodes; ++sides) least = std::min(least, cost(sides));
    EXPECT_DOUBLE_EQ(cut.solve(), least);
    int found = 0;
    for (int node = 0; node < kNodes; ++node) found |= cut.on_source_side(node) ? 0 : 1 << node;
    EXPECT_EQ(cost(found), least);
  }
}

TEST(BandBlend, OnePictureComesBackUnchanged) {
  cv::Mat picture(128, 192, CV_32FC3);
  cv::theRNG().fill(picture, cv::RNG::UNIFORM, 0, 255);
  BandBlend blend(picture.size());
  blend.add(picture, cv::Mat(picture.size(), CV_32FC1, cv::Scalar(1)), {0, 0, 192, 128});
  EXPECT_LT(cv::norm(blend.result(), picture, cv::NORM_INF), 0.01);
}

TEST(BandBlend, FarFromTheSeamEachPictureIsItself) {
  const cv::Size size(640, 64);
  cv::Mat left(size, CV_32FC3), right(size, CV_32FC3);
  cv::RNG random(5);
  random.fill(left, cv::RNG::UNIFORM, 0, 255);
  random.fill(right, cv::RNG::UNIFORM, 0, 255);
  cv::Mat mask(size, CV_32FC1, cv::Scalar(0));
  mask(cv::Rect(0, 0, 320, 64)).setTo(1);
  BandBlend blend(size);
  blend.add(left, mask, {{}, size});
  blend.add(right, 1 - mask, {{}, size});
  const cv::Mat result = blend.result();
  const cv::Rect far_left(0, 0, 320 - kBlendMargin, 64),
      far_right(320 + kBlendMargin, 0, 320 - kBlendMargin, 64);
  EXPECT_LT(cv::norm(result(far_left), left(far_left), cv::NORM_INF), 0.01);
  EXPECT_LT(cv::norm(result(far_right), right(far_right), cv::NORM_INF), 0.01);
}

TEST(BandBlend, AStepBetweenTwoTonesBecomesARampWithoutOvershoot) {
  const cv::Size size(512, 64);
  const cv::Mat dark(size, CV_32FC3, cv::Scalar::all(100)), light(size, CV_32FC3, cv::Scalar::all(120));
  cv::Mat mask(size, CV_32FC1, cv::Scalar(0));
  mask(cv::Rect(0, 0, 256, 64)).setTo(1);
  BandBlend blend(size);
  blend.add(dark, mask, {{}, size});
  blend.add(light, 1 - mask, {{}, size});
  const cv::Mat result = blend.result();
  float steepest = 0;
  for (int x = 0; x + 1 < size.width; ++x) {
    const float here = result.at<cv::Vec3f>(32, x)[1], next = result.at<cv::Vec3f>(32, x + 1)[1];
    EXPECT_GE(next - here, -0.05F);
    EXPECT_GE(here, 99.9F);
    EXPECT_LE(here, 120.1F);
    steepest = std::max(steepest, next - here);
  }
  EXPECT_LT(steepest, 1.0F);  // 20 code values over some 2^5 px
}

TEST(Warp, FastMapFollowsTheExactOneToAHundredthOfAPixel) {
  const test::SmallFlight flight = test::make_small_flight({.tilt_deg = 10});
  const Canvas canvas = plan_canvas(flight.record.placement, {});
  for (const FrameView& view : frame_views(flight.record, canvas, {})) {
    const cv::Mat map = position_map(view, view.box), usable = usable_map(view, view.box);
    for (int row = 0; row < map.rows; ++row)
      for (int column = 0; column < map.cols; ++column) {
        const Sighting seen = view.sight(view.box.x + column, view.box.y + row);
        ASSERT_EQ(usable.at<uchar>(row, column) != 0, seen.usable);
        if (!seen.usable) continue;
        // This lens is short (f = 220 px): a node's spacing spans 4 degrees, ten times what a real frame has.
        ASSERT_NEAR(map.at<cv::Vec2f>(row, column)[0], seen.x_px, 0.1);
        ASSERT_NEAR(map.at<cv::Vec2f>(row, column)[1], seen.y_px, 0.1);
      }
  }
}

// OpenCV's remap is the plain reference; it keeps positions to 1/32 px, which a step of the picture makes a
// code value or two of.
TEST(Warp, LanczosIsWhatRemapGives) {
  cv::RNG random(3);
  cv::Mat picture(90, 120, CV_8UC3), x(70, 100, CV_32FC1), y(x.size(), CV_32FC1), expected, apart;
  random.fill(picture, cv::RNG::UNIFORM, 0, 256);
  cv::GaussianBlur(picture, picture, {}, 1.2);
  for (int row = 0; row < x.rows; ++row)
    for (int column = 0; column < x.cols; ++column) {
      x.at<float>(row, column) = 1.15F * static_cast<float>(column) + 0.23F * static_cast<float>(row) - 9;
      y.at<float>(row, column) = 1.31F * static_cast<float>(row) - 0.11F * static_cast<float>(column) + 2;
    }
  cv::remap(picture, expected, x, y, cv::INTER_LANCZOS4, cv::BORDER_REPLICATE);
  cv::absdiff(lanczos(picture, x, y), expected, apart);
  double most = 0;
  cv::minMaxLoc(apart.reshape(1), nullptr, &most);
  EXPECT_LE(most, 3);
  EXPECT_LT(cv::mean(apart.reshape(1))[0], 0.5);
}

TEST(Warp, LanczosKeepsFlatColoursAndWholePixels) {
  const cv::Mat flat(20, 20, CV_8UC3, cv::Scalar(0, 255, 77));
  cv::Mat x(20, 20, CV_32FC1), y(20, 20, CV_32FC1);
  cv::RNG random(5);
  random.fill(x, cv::RNG::UNIFORM, -30, 50);
  random.fill(y, cv::RNG::UNIFORM, -30, 50);
  EXPECT_EQ(cv::countNonZero(lanczos(flat, x, y).reshape(1) != flat.reshape(1)), 0);
  cv::Mat picture(20, 20, CV_8UC3);
  random.fill(picture, cv::RNG::UNIFORM, 0, 256);
  for (int row = 0; row < 20; ++row)
    for (int column = 0; column < 20; ++column)
      x.at<float>(row, column) = static_cast<float>(column),
                       y.at<float>(row, column) = static_cast<float>(row);
  EXPECT_EQ(cv::countNonZero(lanczos(picture, x, y).reshape(1) != picture.reshape(1)), 0);
}

TEST(FrameView, ScaleIsTheRatioOfDistances) {
  const test::SmallFlight flight = test::make_small_flight({.tilt_deg = 0});
  const Canvas canvas = plan_canvas(flight.record.placement, {});
  const FrameView view = frame_views(flight.record, canvas, {})[0];
  // Straight down: gsd H / f; height 2.1 m, f 220 px, mosaic pixel 10 mm.
  EXPECT_NEAR(view.sight(view.nadir_x_px, view.nadir_y_px).frame_px_per_mosaic_px, 0.01 * 220 / 2.1, 1e-6);
  EXPECT_NEAR(view.height_px, 210, 1e-6);
  // 105 px aside at a height of 210 px.
  EXPECT_NEAR(view.tan_view_angle(view.nadir_x_px + 105, view.nadir_y_px), 0.5, 1e-9);
}

TEST(FrameView, ARaisedPlaneIsDisplacedByReliefDisplacement) {
  const test::SmallFlight flight = test::make_small_flight({.tilt_deg = 0});
  const Canvas canvas = plan_canvas(flight.record.placement, {});
  const FrameView ground = frame_views(flight.record, canvas, {})[0],
                  roof = frame_views(flight.record, canvas, 0.21)[0];
  const double x = ground.nadir_x_px + 90, y = ground.nadir_y_px;
  // A point at height h appears r H / (H - h) from the nadir point where the ground below it appears at
  // r: 2.1 / 1.89.
  const Point2<UndistortedPx> low =
      ground.camera.undistort({ground.sight(x, y).x_px, ground.sight(x, y).y_px});
  const Point2<UndistortedPx> high = roof.camera.undistort({roof.sight(x, y).x_px, roof.sight(x, y).y_px});
  const double r_low = std::hypot(low.x - 121, low.y - 88), r_high = std::hypot(high.x - 121, high.y - 88);
  EXPECT_NEAR(r_high / r_low, 2.1 / 1.89, 1e-4);
}

TEST(Colour, SrgbCurveReturns) {
  for (int code = 0; code < 256; ++code) EXPECT_NEAR(srgb_from_linear(linear_from_srgb(code)), code, 1e-9);
}

TEST(Colour, CorrectionFollowsTheFormula) {
  FrameColour colour;
  colour.log_gain = {std::log(1.2), std::log(0.9), 0};
  colour.vignetting = {-0.3, 0, 0};
  colour.centre_x_px = colour.centre_y_px = 0;
  colour.half_diagonal_px = 100;
  const cv::Mat bgr(1, 1, CV_8UC3, cv::Scalar(80, 120, 160)), map(1, 1, CV_32FC2, cv::Scalar(30, 40));
  const cv::Vec3f found = corrected(bgr, map, colour).at<cv::Vec3f>(0);
  const double opened = std::exp(0.3 * 0.25);  // r = 0.5
  EXPECT_NEAR(found[0], srgb_from_linear(linear_from_srgb(80) * 1.2 * opened), 0.15);
  EXPECT_NEAR(found[1], srgb_from_linear(linear_from_srgb(120) * 0.9 * opened), 0.15);
  EXPECT_NEAR(found[2], srgb_from_linear(linear_from_srgb(160) * opened), 0.15);
}

TEST(Tiles, CoverTheCanvasOnceAndKeepTogether) {
  Canvas canvas;
  canvas.width_px = 7 * kTileSide - 5;
  canvas.height_px = 5 * kTileSide;
  const auto tiles = tiles_of(canvas);
  std::set<std::pair<int, int>> corners;
  for (const cv::Rect& tile : tiles) corners.insert({tile.x, tile.y});
  EXPECT_EQ(tiles.size(), 35U);
  EXPECT_EQ(corners.size(), 35U);
  canvas.width_px = canvas.height_px = 8 * kTileSide;
  const auto square = tiles_of(canvas);
  for (std::size_t i = 1; i < square.size(); ++i)  // along a Hilbert curve each step goes to a neighbour
    EXPECT_EQ(std::abs(square[i].x - square[i - 1].x) + std::abs(square[i].y - square[i - 1].y), kTileSide);
}

TEST(Canvas, CoarserGsdScalesAboutTheCorner) {
  FlightPlacement placement;
  placement.mosaic_width_px = 1000;
  placement.mosaic_height_px = 501;
  placement.gsd_m = 0.01;
  placement.geotransform = {100, 0.01, 0, 200, 0, -0.01};
  const Canvas canvas = plan_canvas(placement, 0.02);
  EXPECT_EQ(canvas.width_px, 500);
  EXPECT_EQ(canvas.height_px, 251);
  EXPECT_DOUBLE_EQ((*canvas.geotransform)[0], 100);
  EXPECT_DOUBLE_EQ((*canvas.geotransform)[1], 0.02);
  // The corner (-0.5, -0.5) stays; the centre of pixel 0 covers placed pixels 0 and 1.
  const Eigen::Vector3d corner = canvas.canvas_from_placed * Eigen::Vector3d(-0.5, -0.5, 1),
                        middle = canvas.canvas_from_placed * Eigen::Vector3d(0.5, 0.5, 1);
  EXPECT_NEAR(corner.x(), -0.5, 1e-12);
  EXPECT_NEAR(middle.x(), 0, 1e-12);
}

TEST(Canvas, RefusesWhatTheDiskCannotHold) {
  Canvas canvas;
  canvas.width_px = canvas.height_px = 900'000;
  EXPECT_THROW(check_size_and_disk(canvas, 1000, std::filesystem::temp_directory_path()), CanvasError);
}

// 2000 x 1500 px are 0.003 gigapixels; four times as coarse a side makes a sixteenth of them.
TEST(Canvas, SaysHowMuchTooLargeAndWhatWouldFit) {
  Canvas canvas;
  canvas.width_px = 2000;
  canvas.height_px = 1500;
  canvas.gsd_m = 0.025;
  const auto out = std::filesystem::temp_directory_path();
  EXPECT_NO_THROW(check_size_and_disk(canvas, 0.0031, out));
  EXPECT_THAT(
      [&] { check_size_and_disk(canvas, 0.003 / 16, out); },
      ::testing::ThrowsMessage<CanvasError>(::testing::AllOf(
          ::testing::HasSubstr("is 0.003 gigapixels"), ::testing::HasSubstr("--gsd-m 0.1 or coarser"))));
  canvas.gsd_m.reset();  // without a scale a size on the ground cannot be asked for
  EXPECT_THAT([&] { check_size_and_disk(canvas, 0.001, out); },
              ::testing::ThrowsMessage<CanvasError>(::testing::Not(::testing::HasSubstr("--gsd-m"))));
}

TEST(ScaleBar, HasARoundLengthThatFits) {
  EXPECT_DOUBLE_EQ(scale_bar_length_m(100), 20);
  EXPECT_DOUBLE_EQ(scale_bar_length_m(90), 20);
  EXPECT_DOUBLE_EQ(scale_bar_length_m(8), 2);
  EXPECT_DOUBLE_EQ(scale_bar_length_m(0.1, 1), 0.1);
}

TEST(PrintSheet, OneMetreAtOneToAHundredIsTenMillimetres) {
  Canvas canvas;
  canvas.width_px = 1000;
  canvas.height_px = 500;
  canvas.gsd_m = 0.01;
  const auto read = [](const cv::Rect&, cv::Size size) {
    return cv::Mat(size, CV_8UC4, cv::Scalar::all(128));
  };
  const std::string pdf = print_sheet(canvas, read, {"T", "", "", 3, true}, "A4", 100);
  // 10 m x 5 m: 100 mm x 50 mm = 283.4646 x 141.7323 points of 1/72 inch.
  EXPECT_NE(pdf.find("q 283.4646 0 0 141.7323"), std::string::npos);
  EXPECT_NE(pdf.find("/MediaBox [0 0 841.8898 595.2756]"), std::string::npos);  // A4 across: 297 x 210 mm
  // 10 m on 277 mm need 1:36.1 at least; rulers carry 1:40 (architects' scales, common practice).
  EXPECT_EQ(fitting_scale(10, 5, 277, 166), 40);
  EXPECT_EQ(scale_in_words(250), "1 cm = 2.5 m");
}

TEST(PrintSheet, WhatDoesNotFitGoesOnMoreSheets) {
  Canvas canvas;
  canvas.width_px = 6000;
  canvas.height_px = 1000;
  canvas.gsd_m = 0.01;
  int covered = 0;
  const auto read = [&](const cv::Rect& area, cv::Size size) {
    covered += area.area();
    return cv::Mat(size, CV_8UC4, cv::Scalar::all(128));
  };
  const std::string pdf =
      print_sheet(canvas, read, {"T", "", "", 3, true}, "A4", 100);  // 600 mm on sheets with room for 277
  EXPECT_NE(pdf.find("/Count 3"), std::string::npos);
  EXPECT_EQ(covered, 6000 * 1000);
}

TEST(PdfDocument, CrossReferencesPointAtTheirObjects) {
  PdfPage page(100, 50);
  page.text("a (b) \\ \xC3\xA9", 1, 1, 3);
  const std::string pdf = pdf_document({page});
  const std::size_t table = std::stoul(pdf.substr(pdf.rfind("startxref") + 10));
  EXPECT_EQ(pdf.substr(table, 4), "xref");
  std::size_t at = pdf.find("0000000000 65535 f") + 20;
  for (int number = 1; pdf.substr(at + 17, 1) == "n"; ++number, at += 20)
    EXPECT_EQ(pdf.substr(std::stoul(pdf.substr(at, 10)), 6),
              (std::to_string(number) + " 0 obj").substr(0, 6));
  EXPECT_NE(pdf.find("(a \\(b\\) \\\\ \xE9) Tj"), std::string::npos);
}

}  // namespace
}  // namespace lookdown::mosaic
