#include "camera/blur.h"

#include <gtest/gtest.h>

namespace render {
namespace {

// Second moments of a kernel about its centre: xx, yy, xy (y up).
std::array<double, 3> moments(const cv::Mat& kernel) {
  std::array<double, 3> m{0, 0, 0};
  for (int y = 0; y < kernel.rows; ++y)
    for (int x = 0; x < kernel.cols; ++x) {
      const double dx = x - kernel.cols / 2, dy = kernel.rows / 2 - y, w = kernel.at<float>(y, x);
      m[0] += w * dx * dx;
      m[1] += w * dy * dy;
      m[2] += w * dx * dy;
    }
  return m;
}

FrameBlur smear(double length_px, double direction_deg) {
  FrameBlur blur;
  blur.kind = BlurKind::smear;
  blur.smear_px = length_px;
  blur.smear_deg = direction_deg;
  return blur;
}

TEST(RendererBlur, SmearHasTheLengthAndDirectionThatTheTruthStates) {
  // A uniform line of length L has variance L^2 / 12 along itself and none across (derived). Keys' cubic
  // interpolation has zero second moment, so the kernel keeps it.
  for (const double length : {4.0, 9.5, 20.0})
    for (const double direction : {0.0, 30.0, 90.0, 135.0}) {
      const cv::Mat kernel = centre_kernel(smear(length, direction));
      EXPECT_NEAR(cv::sum(kernel)[0], 1, 1e-5);
      const auto [xx, yy, xy] = moments(kernel);
      const double mean = (xx + yy) / 2, spread = std::hypot((xx - yy) / 2, xy);
      EXPECT_NEAR(std::sqrt(12 * (mean + spread)), length, 0.02 * length);
      EXPECT_NEAR(mean - spread, 0, 0.02);
      double found = degrees(std::atan2(xy, (xx - yy) / 2)) / 2;
      if (found < -1e-6) found += 180;
      EXPECT_NEAR(found, direction, 0.2);
    }
}

TEST(RendererBlur, DiscHasAQuarterOfTheSquaredRadiusAsVariance) {
  FrameBlur blur;
  blur.kind = BlurKind::defocus;
  for (const double radius : {2.8, 5.0, 8.0}) {
    blur.radius_px = radius;
    const auto [xx, yy, xy] = moments(centre_kernel(blur));
    // The disc is averaged over pixels, which adds about 1/12.
    EXPECT_NEAR(xx, radius * radius / 4 + 1.0 / 12, 0.1);
    EXPECT_NEAR(yy, xx, 1e-3);
    EXPECT_NEAR(xy, 0, 1e-3);
    EXPECT_DOUBLE_EQ(blur.sigma_px(), radius / 2);
  }
}

TEST(RendererBlur, TurningSmearKeepsAFlatPictureFlatAndVariesOverTheFrame) {
  FrameBlur blur = smear(8, 0);
  blur.spin_px = 8;
  const cv::Mat flat(200, 300, CV_32FC3, cv::Scalar(0.4, 0.5, 0.6));
  const cv::Mat result = blurred(flat, blur);
  EXPECT_LT(cv::norm(result, flat, cv::NORM_INF), 1e-4);
  const double half_diagonal = 180;
  EXPECT_NEAR(length(blur.motion_at({0, 0}, half_diagonal)), 8, 1e-12);
  // At the top edge the rotation adds to the motion to the right, at the bottom it takes away (x -= spin *
  // y).
  EXPECT_NEAR(length(blur.motion_at({0, -90}, half_diagonal)), 12, 1e-12);
  EXPECT_NEAR(length(blur.motion_at({0, 90}, half_diagonal)), 4, 1e-12);
}

}  // namespace
}  // namespace render
