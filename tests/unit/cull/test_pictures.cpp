#include "test_pictures.h"

#include <unistd.h>

#include <cmath>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "pipeline/base/angles.h"

namespace lookdown::test {

cv::Mat dead_leaves(const cv::Size& size, unsigned seed) {
  std::mt19937 random(seed);
  const auto uniform = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  cv::Mat large(size * 2, CV_32F, cv::Scalar(120));
  for (int i = 0; i < large.size().area() / 120; ++i) {
    const double radius = 4 / std::sqrt(uniform(0.002, 1));
    cv::circle(large, {static_cast<int>(uniform(0, large.cols)), static_cast<int>(uniform(0, large.rows))},
               static_cast<int>(radius), uniform(40, 210), cv::FILLED);
  }
  cv::Mat out;
  cv::resize(large, out, size, 0, 0, cv::INTER_AREA);
  return out;
}

cv::Mat line_kernel(double length_px, double direction_deg) {
  const double a = direction_deg * kDegree;
  const int reach = static_cast<int>(std::ceil(length_px / 2)) + 1,
            steps = static_cast<int>(std::ceil(length_px * 20));
  cv::Mat kernel = cv::Mat::zeros(2 * reach + 1, 2 * reach + 1, CV_32F);
  for (int i = 0; i < steps; ++i) {
    const double t = ((i + 0.5) / steps - 0.5) * length_px, x = reach + t * std::cos(a),
                 y = reach - t * std::sin(a);
    const int x0 = static_cast<int>(x), y0 = static_cast<int>(y);
    const auto fx = static_cast<float>(x - x0), fy = static_cast<float>(y - y0);
    kernel.at<float>(y0, x0) += (1 - fx) * (1 - fy);
    kernel.at<float>(y0, x0 + 1) += fx * (1 - fy);
    kernel.at<float>(y0 + 1, x0) += (1 - fx) * fy;
    kernel.at<float>(y0 + 1, x0 + 1) += fx * fy;
  }
  return kernel / cv::sum(kernel)[0];
}

cv::Mat gaussian(const cv::Mat& picture, double sigma_px) {
  cv::Mat out;
  cv::GaussianBlur(picture, out, {0, 0}, sigma_px, sigma_px, cv::BORDER_REFLECT);
  return out;
}

cv::Mat smeared(const cv::Mat& picture, double length_px, double direction_deg) {
  cv::Mat out;
  cv::filter2D(picture, out, -1, line_kernel(length_px, direction_deg), {-1, -1}, 0, cv::BORDER_REFLECT);
  return out;
}

cv::Mat noisy(const cv::Mat& picture, double sigma_levels, unsigned seed) {
  cv::RNG rng(seed);
  cv::Mat noise(picture.size(), CV_MAKETYPE(CV_32F, picture.channels())), out;
  rng.fill(noise, cv::RNG::NORMAL, 0, sigma_levels);
  picture.convertTo(out, CV_32F);
  return out + noise;
}

FrameRecord record_of(const cv::Mat& picture, const std::string& name) {
  const auto path =
      std::filesystem::temp_directory_path() / ("lookdown_cull_" + std::to_string(getpid()) + "_" + name);
  cv::Mat bytes;
  picture.convertTo(bytes, CV_8U);
  cv::imwrite(path.string(), bytes, {cv::IMWRITE_JPEG_QUALITY, 92});
  FrameRecord frame;
  frame.source.file = name;
  frame.source.path = path;
  frame.source.width_px = picture.cols;
  frame.source.height_px = picture.rows;
  frame.source.format = path.extension() == ".jpg" ? "JPEG" : "PNG";
  const FrameReader reader;
  FramePixels pixels(reader, frame.source);
  frame.sharpness = cull::measure(pixels);
  std::filesystem::remove(path);
  return frame;
}

Sharpness measured(const cv::Mat& picture, const char* extension) {
  return *record_of(picture, std::string("frame") + extension).sharpness;
}

}  // namespace lookdown::test
