#include "blur_samples.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace lookdown::bench {
namespace {

double uniform(std::mt19937& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}

double log_uniform(std::mt19937& random, double low, double high) {
  return std::exp(uniform(random, std::log(low), std::log(high)));
}

cv::Mat decoded_light(const cv::Mat& coded) {
  cv::Mat light;
  cv::pow(cv::max(coded, 0), 2.2, light);
  return light;
}

cv::Mat coded_light(const cv::Mat& light) {
  cv::Mat coded;
  cv::pow(cv::max(light, 0), 1 / 2.2, coded);
  return coded;
}

void add_noise(cv::Mat& picture, double levels, bool linear, std::mt19937& random) {
  if (levels <= 0) return;
  cv::RNG rng(random());
  cv::Mat noise(picture.size(), CV_32FC3);
  rng.fill(noise, cv::RNG::NORMAL, 0, 1);
  if (!linear) {
    picture += noise * (levels / 255);
    return;
  }
  // Photon noise grows with the root of the light; mid grey (0.22 of full) gets the level asked for after
  // coding (slope 1.04 there).
  cv::Mat root;
  cv::sqrt(cv::max(picture, 0) + 0.01, root);
  picture += noise.mul(root) * (levels / 255 / 1.04 / std::sqrt(0.23));
}

/// Each pixel keeps one colour of a Bayer pattern, the others are interpolated.
cv::Mat through_mosaic(const cv::Mat& picture) {
  cv::Mat bytes, raw(picture.size(), CV_16U), colour;
  picture.convertTo(bytes, CV_16UC3, 65535);
  for (int y = 0; y < bytes.rows; ++y)
    for (int x = 0; x < bytes.cols; ++x) {
      const int channel = (y & 1) == 0 ? ((x & 1) == 0 ? 0 : 1) : ((x & 1) == 0 ? 1 : 2);
      raw.at<std::uint16_t>(y, x) = bytes.at<cv::Vec3w>(y, x)[channel];
    }
  cv::demosaicing(raw, colour, cv::COLOR_BayerRG2BGR_EA);
  colour.convertTo(colour, CV_32FC3, 1.0 / 65535);
  return colour;
}

}  // namespace

BlurRecipe random_recipe(std::mt19937& random) {
  BlurRecipe r;
  r.lens_sigma_px = uniform(random, 0.3, 0.75);
  const double kind = uniform(random, 0, 1);
  if (kind < 0.30) {
    r.kind = "none";
  } else if (kind < 0.68) {
    r.kind = "smear";
    r.smear_px = log_uniform(random, 2, 45);
    r.smear_deg = uniform(random, 0, 180);
    if (uniform(random, 0, 1) < 0.4) r.bend_rad = uniform(random, -0.7, 0.7);
  } else if (kind < 0.88) {
    r.kind = "gauss";
    r.sigma_px = log_uniform(random, 0.7, 9);
  } else {
    r.kind = "disc";
    r.sigma_px = log_uniform(random, 0.7, 7);
  }
  r.noise_levels = uniform(random, 0, 1) < 0.15 ? 0 : log_uniform(random, 0.4, 7);
  r.jpeg_quality = uniform(random, 0, 1) < 0.1 ? 0 : static_cast<int>(uniform(random, 72, 98));
  r.linear_light = uniform(random, 0, 1) < 0.6;
  r.sharpening = uniform(random, 0, 1) < 0.75 ? 0 : uniform(random, 0.2, 0.9);
  r.mosaic_sensor = uniform(random, 0, 1) < 0.25;
  return r;
}

cv::Mat smear_kernel(double smear_px, double smear_deg, double bend_rad) {
  const double a = smear_deg * std::numbers::pi / 180;
  const int reach = static_cast<int>(std::ceil(smear_px / 2)) + 1;
  cv::Mat kernel = cv::Mat::zeros(2 * reach + 1, 2 * reach + 1, CV_32F);
  const int steps = std::max(1, static_cast<int>(std::ceil(smear_px * 16)));
  for (int i = 0; i < steps; ++i) {
    const double share = (i + 0.5) / steps - 0.5, turn = bend_rad * share;
    // Chord from the middle of an arc to the point at the share of its length: length sinc(turn / 2), turned
    // by half the turn.
    const double chord = share * smear_px * (std::abs(turn) < 1e-6 ? 1 : 2 * std::sin(turn / 2) / turn);
    const double x = reach + chord * std::cos(a + turn / 2), y = reach - chord * std::sin(a + turn / 2);
    const int x0 = static_cast<int>(std::floor(x)), y0 = static_cast<int>(std::floor(y));
    const auto fx = static_cast<float>(x - x0), fy = static_cast<float>(y - y0);
    kernel.at<float>(y0, x0) += (1 - fx) * (1 - fy);
    kernel.at<float>(y0, x0 + 1) += fx * (1 - fy);
    kernel.at<float>(y0 + 1, x0) += (1 - fx) * fy;
    kernel.at<float>(y0 + 1, x0 + 1) += fx * fy;
  }
  return kernel / cv::sum(kernel)[0];
}

cv::Mat disc_kernel(double radius_px) {
  const int reach = static_cast<int>(std::ceil(radius_px)) + 1;
  const int fine = 8;
  cv::Mat kernel = cv::Mat::zeros(2 * reach + 1, 2 * reach + 1, CV_32F);
  for (int y = 0; y < kernel.rows * fine; ++y)
    for (int x = 0; x < kernel.cols * fine; ++x) {
      const double dx = (x + 0.5) / fine - 0.5 - reach, dy = (y + 0.5) / fine - 0.5 - reach;
      if (dx * dx + dy * dy <= radius_px * radius_px) kernel.at<float>(y / fine, x / fine) += 1;
    }
  return kernel / cv::sum(kernel)[0];
}

cv::Mat take_picture(const cv::Mat& sharp, const BlurRecipe& r, std::mt19937& random) {
  cv::Mat picture = r.linear_light ? decoded_light(sharp) : sharp.clone();
  if (r.kind == "smear")
    cv::filter2D(picture, picture, CV_32F, smear_kernel(r.smear_px, r.smear_deg, r.bend_rad), {-1, -1}, 0,
                 cv::BORDER_REFLECT);
  if (r.kind == "disc")
    cv::filter2D(picture, picture, CV_32F, disc_kernel(2 * r.sigma_px), {-1, -1}, 0, cv::BORDER_REFLECT);
  const double gauss = std::hypot(r.lens_sigma_px, r.kind == "gauss" ? r.sigma_px : 0.0);
  if (gauss > 0.2) cv::GaussianBlur(picture, picture, {0, 0}, gauss, gauss, cv::BORDER_REFLECT);
  add_noise(picture, r.noise_levels, r.linear_light, random);
  if (r.mosaic_sensor) picture = through_mosaic(cv::min(cv::max(picture, 0), 1));
  if (r.linear_light) picture = coded_light(picture);
  if (r.sharpening > 0) {
    cv::Mat soft;
    cv::GaussianBlur(picture, soft, {0, 0}, 1.0);
    picture += r.sharpening * (picture - soft);
  }
  cv::Mat bytes;
  picture.convertTo(bytes, CV_8UC3, 255);
  if (r.jpeg_quality == 0) return bytes;
  std::vector<std::uint8_t> file;
  cv::imencode(".jpg", bytes, file, {cv::IMWRITE_JPEG_QUALITY, r.jpeg_quality});
  return cv::imdecode(file, cv::IMREAD_COLOR);
}

cv::Mat part_of_photograph(const cv::Mat& photograph, double least_reduction, const cv::Size& size,
                           std::mt19937& random) {
  const double fits = std::min(photograph.cols / static_cast<double>(size.width),
                               photograph.rows / static_cast<double>(size.height));
  if (fits < least_reduction) return {};
  const double reduction = uniform(random, least_reduction, std::min(fits, 2 * least_reduction));
  const int w = std::min(photograph.cols, static_cast<int>(size.width * reduction));
  const int h = std::min(photograph.rows, static_cast<int>(size.height * reduction));
  const int x = std::uniform_int_distribution<int>(0, photograph.cols - w)(random);
  const int y = std::uniform_int_distribution<int>(0, photograph.rows - h)(random);
  cv::Mat part;
  photograph(cv::Rect(x, y, w, h)).convertTo(part, CV_32FC3, 1.0 / 255);
  if (reduction > 1.001) cv::resize(part, part, size, 0, 0, cv::INTER_AREA);
  // Turned or mirrored at random: directions of a scene must not be learnt.
  if (uniform(random, 0, 1) < 0.5) cv::flip(part, part, 1);
  if (uniform(random, 0, 1) < 0.5) cv::transpose(part, part);
  return part;
}

}  // namespace lookdown::bench
