// Light that changes over frames, evened out from what overlaps show.
#include "stages/mosaic/radiometry/light_field.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "pipeline/geometry/camera.h"

namespace lookdown::mosaic {
namespace {

constexpr int kViews = 3;

std::vector<FrameView> three_views() {
  std::vector<FrameView> views(kViews);
  for (FrameView& view : views) view.camera = assumed_camera(1000, 800);
  return views;
}

/// ln of the light that reaches a place of a view.
using Light = double (*)(int view, const std::array<double, 2>& uv);

/// The second view has the shadow of a cloud over its right part, with an edge a quarter of a frame wide.
double cloud(int view, const std::array<double, 2>& uv) {
  return view == 1 ? -0.5 * std::clamp((uv[0] - 0.1) / 0.3, 0.0, 1.0) : 0;
}
double steady(int /*view*/, const std::array<double, 2>& /*uv*/) {
  return 0;
}

/// All views see the same ground from the same place, with a little noise of a camera.
std::vector<SharedSpot> spots_under(Light light) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> place(-0.6, 0.6);
  std::normal_distribution<double> noise(0, 0.02);
  std::vector<SharedSpot> spots;
  for (int first = 0; first < kViews; ++first)
    for (int second = first + 1; second < kViews; ++second)
      for (int i = 0; i < 200; ++i) {
        SharedSpot spot;
        spot.first = first, spot.second = second;
        spot.first_uv = spot.second_uv = {place(random), place(random)};
        spot.luminance = {0.3 * std::exp(light(first, spot.first_uv) + noise(random)),
                          0.3 * std::exp(light(second, spot.second_uv) + noise(random))};
        spots.push_back(spot);
      }
  return spots;
}

double field_at(const FrameView& view, const FrameColour& colour, const std::array<double, 2>& uv) {
  const double half = 0.5 * std::hypot(view.camera.width_px, view.camera.height_px);
  const cv::Mat& field = colour.log_field;
  const double column = (view.camera.cx_px + uv[0] * half) / (view.camera.width_px - 1) * (field.cols - 1),
               row = (view.camera.cy_px + uv[1] * half) / (view.camera.height_px - 1) * (field.rows - 1);
  const int c = int(column), r = int(row);
  const double a = column - c, b = row - r;
  const auto node = [&](int down, int right) { return double(field.at<float>(r + down, c + right)); };
  return (node(0, 0) * (1 - a) + node(0, 1) * a) * (1 - b) + (node(1, 0) * (1 - a) + node(1, 1) * a) * b;
}

TEST(LightField, BringsAShadowedFrameToTheLightOfTheOthers) {
  const std::vector<FrameView> views = three_views();
  ColourModel model = unchanged_colours(views);
  add_light_fields(views, spots_under(cloud), model);
  ASSERT_FALSE(model[1].log_field.empty());
  for (double u = -0.5; u <= 0.5; u += 0.25)
    for (double v = -0.4; v <= 0.4; v += 0.2) {
      const std::array<double, 2> uv{u, v};
      const double step = field_at(views[1], model[1], uv) - field_at(views[0], model[0], uv);
      EXPECT_NEAR(step + cloud(1, uv), 0, 0.08) << u << " " << v;
    }
}

TEST(LightField, BrightensAFrameAsItsNodesSay) {
  FrameColour colour;
  colour.width_px = 101, colour.height_px = 81;
  colour.half_diagonal_px = 65;
  const float twice = std::log(2.0F);
  colour.log_field = (cv::Mat_<float>(2, 3) << 0, twice, twice, 0, twice, twice);
  const cv::Mat bgr(1, 3, CV_8UC3, cv::Scalar::all(100));
  const cv::Mat map = (cv::Mat_<cv::Vec2f>(1, 3) << cv::Vec2f(0, 40), cv::Vec2f(25, 40), cv::Vec2f(100, 0));
  const cv::Mat out = corrected(bgr, map, colour);
  const double light = linear_from_srgb(100);
  const double expected[] = {100, srgb_from_linear(light * std::sqrt(2.0)), srgb_from_linear(2 * light)};
  for (int i = 0; i < 3; ++i)
    for (int channel = 0; channel < 3; ++channel)
      EXPECT_NEAR(out.at<cv::Vec3f>(0, i)[channel], expected[i], 0.2) << i;
}

TEST(LightField, IsNotThereUnderASteadyLight) {
  const std::vector<FrameView> views = three_views();
  ColourModel model = unchanged_colours(views);
  add_light_fields(views, spots_under(steady), model);
  for (const FrameColour& colour : model) EXPECT_TRUE(colour.log_field.empty());
}

}  // namespace
}  // namespace lookdown::mosaic
