// Pictures that Debian packages carry: opencv-doc (text_motion, text_defocus, licenseplate_motion: real blur)
// and python3-skimage (clock_motion: real motion blur; gravel, brick, grass: textures photographed sharp).
#include <gtest/gtest.h>

#include <filesystem>
#include <opencv2/imgcodecs.hpp>
#include <string>

#include "stages/cull/cull.h"
#include "unit/cull/test_pictures.h"

namespace lookdown {
namespace {

const std::string kOpenCvPictures = "/usr/share/doc/opencv-doc/examples/data/";
const std::string kSkimagePictures = "/usr/lib/python3/dist-packages/skimage/data/";

cv::Mat picture(const std::string& path) {
  EXPECT_TRUE(std::filesystem::exists(path))
      << path << ": install the Debian packages in .ci/test_packages.txt";
  return cv::imread(path, cv::IMREAD_COLOR);
}

Decision verdict_alone(const cv::Mat& bgr) {
  FlightRecord flight;
  flight.frames.push_back(test::record_of(bgr, "frame.png"));
  cull::decide(flight, {});
  return flight.frames[0].decision;
}

class RealBlur : public testing::TestWithParam<std::string> {};
TEST_P(RealBlur, IsDropped) {
  EXPECT_EQ(verdict_alone(picture(GetParam())).verdict, Verdict::drop);
}

TEST_P(RealBlur, IsRankedInOrderOfFurtherGaussianBlur) {
  const cv::Mat blurred = picture(GetParam());
  double last = *test::measured(blurred).sharpness;
  for (const double sigma : {2.0, 4.0, 6.0, 9.0}) {
    const Sharpness s = test::measured(test::gaussian(blurred, sigma));
    ASSERT_TRUE(s.sharpness) << sigma;
    EXPECT_LT(*s.sharpness, last) << "sigma " << sigma << ", width " << *s.blur_fwhm_px;
    last = *s.sharpness;
  }
}

TEST_P(RealBlur, IsRankedInOrderOfFurtherSmear) {
  const cv::Mat blurred = picture(GetParam());
  for (const double direction : {0.0, 37.0, 110.0}) {
    double last = *test::measured(blurred).sharpness;
    for (const double length : {8.0, 14.0, 22.0, 32.0}) {
      const Sharpness s = test::measured(test::smeared(blurred, length, direction));
      ASSERT_TRUE(s.sharpness) << length;
      EXPECT_LT(*s.sharpness, last) << length << " px at " << direction << " degrees, width "
                                    << *s.blur_fwhm_px;
      last = *s.sharpness;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Pictures, RealBlur,
                         testing::Values(kOpenCvPictures + "text_motion.jpg",
                                         kOpenCvPictures + "text_defocus.jpg",
                                         kOpenCvPictures + "licenseplate_motion.jpg",
                                         kSkimagePictures + "clock_motion.png"));

class RealTexture : public testing::TestWithParam<std::string> {};
TEST_P(RealTexture, IsKept) {
  EXPECT_EQ(verdict_alone(picture(GetParam())).verdict, Verdict::keep);
}

TEST_P(RealTexture, IsRankedInOrderOfGaussianBlur) {
  const cv::Mat sharp = picture(GetParam());
  double last = *test::measured(sharp).sharpness;
  for (const double sigma : {1.0, 1.5, 2.0, 3.0, 4.0, 6.0}) {
    const Sharpness s = test::measured(test::gaussian(sharp, sigma));
    ASSERT_TRUE(s.sharpness) << sigma;
    EXPECT_LT(*s.sharpness, last) << "sigma " << sigma;
    last = *s.sharpness;
  }
}

TEST_P(RealTexture, IsRankedInOrderOfSmear) {
  const cv::Mat sharp = picture(GetParam());
  for (const double direction : {0.0, 37.0, 110.0}) {
    double last = *test::measured(sharp).sharpness;
    for (const double length : {3.0, 5.0, 8.0, 12.0, 18.0, 25.0}) {
      const Sharpness s = test::measured(test::smeared(sharp, length, direction));
      ASSERT_TRUE(s.sharpness) << length;
      EXPECT_LT(*s.sharpness, last) << length << " px at " << direction << " degrees";
      last = *s.sharpness;
    }
  }
}
INSTANTIATE_TEST_SUITE_P(Pictures, RealTexture,
                         testing::Values(kSkimagePictures + "gravel.png", kSkimagePictures + "brick.png",
                                         kSkimagePictures + "grass.png"));

}  // namespace
}  // namespace lookdown
