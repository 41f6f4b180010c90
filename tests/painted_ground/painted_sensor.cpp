#include "painted_sensor.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace painted {

void soften_corners(cv::Mat& picture, double sigma_px) {
  cv::Mat soft;
  cv::GaussianBlur(picture, soft, {}, sigma_px);
  const double half = std::hypot(picture.cols, picture.rows) / 2;
  for (int y = 0; y < picture.rows; ++y)
    for (int x = 0; x < picture.cols; ++x) {
      const double r = std::hypot(x - picture.cols / 2.0, y - picture.rows / 2.0) / half;
      const auto share = float(std::clamp((r - 0.5) / 0.4, 0.0, 1.0));
      cv::Vec3f& here = picture.at<cv::Vec3f>(y, x);
      here = here * (1 - share) + soft.at<cv::Vec3f>(y, x) * share;
    }
}

cv::Mat develop(const cv::Mat& light, double stops, double photon_noise, unsigned seed) {
  cv::Mat exposed = light * (std::exp2(stops) / 255.0), grain(light.size(), CV_32FC3), picture;
  cv::pow(cv::max(exposed, 0), 1 / 1.6, exposed);
  cv::RNG random(seed * 977U + 5);
  random.fill(grain, cv::RNG::NORMAL, 0.0, 2.0);
  if (photon_noise > 0) {
    cv::Mat more;
    cv::Mat share = exposed * (255.0 * photon_noise / 4);
    share += cv::Scalar::all(1);
    cv::sqrt(share, more);
    grain = grain.mul(more);
  }
  exposed = exposed * 255.0 + grain;
  exposed.convertTo(picture, CV_8U);
  return picture;
}

void hold_rig_into(cv::Mat& light) {
  cv::RNG random(4711);
  const cv::Rect corner(0, light.rows * 3 / 4, light.cols / 4, light.rows / 4);
  cv::Mat bracket = light(corner);
  bracket = cv::Scalar(70, 72, 75);
  for (int i = 0; i < 130; ++i)
    cv::ellipse(bracket, {random.uniform(0, corner.width), random.uniform(0, corner.height)},
                {random.uniform(2, 11), random.uniform(2, 8)}, random.uniform(0, 180), 0, 360,
                cv::Scalar::all(random.uniform(15, 150)), -1, cv::LINE_AA);
}

}  // namespace painted
