#include "pictures/blur_samples.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"

namespace lookdown::bench {

double uniform(std::mt19937& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}
namespace {

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

const char* word(BlurKind kind) {
  constexpr std::array<const char*, kBlurKinds> words{"none",     "straight", "curved",  "turning",
                                                      "gaussian", "disc",     "combined"};
  return words.at(static_cast<std::size_t>(kind));
}

double BlurRecipe::sigma_across_px() const {
  return std::hypot(camera.lens_sigma_px, sigma_px);
}

double BlurRecipe::sigma_along_px() const {
  return std::hypot(sigma_across_px(), smear_px / std::sqrt(12.0));
}

CameraRecipe random_camera(std::mt19937& random) {
  CameraRecipe c;
  c.lens_sigma_px = uniform(random, 0.3, 0.8);
  if (uniform(random, 0, 1) < 0.5) c.astigmatism = uniform(random, 1, 1.35);
  c.astigmatism_deg = uniform(random, 0, 180);
  c.noise_levels = uniform(random, 0, 1) < 0.15 ? 0 : log_uniform(random, 0.4, 7);
  c.jpeg_quality = uniform(random, 0, 1) < 0.1 ? 0 : static_cast<int>(uniform(random, 72, 98));
  c.linear_light = uniform(random, 0, 1) < 0.75;
  c.sharpening = uniform(random, 0, 1) < 0.7 ? 0 : uniform(random, 0.2, 0.9);
  c.mosaic_sensor = uniform(random, 0, 1) < 0.4;
  return c;
}

BlurRecipe random_blur(BlurKind kind, const CameraRecipe& camera, std::mt19937& random) {
  BlurRecipe r;
  r.camera = camera;
  r.kind = kind;
  const bool moves = kind == BlurKind::straight || kind == BlurKind::curved || kind == BlurKind::turning ||
                     kind == BlurKind::combined;
  if (moves) {
    r.smear_px = log_uniform(random, 2, 40);
    r.smear_deg = uniform(random, 0, 180);
  }
  if (kind == BlurKind::curved) r.bend_rad = uniform(random, 0.3, 1.0) * (random() % 2 == 0 ? 1 : -1);
  // At the corners of a picture 700 px across a turn moves by about as much as the whole does in the middle.
  if (kind == BlurKind::turning) r.turn_rad = r.smear_px / 350 * uniform(random, -1, 1);
  if (kind == BlurKind::gaussian) r.sigma_px = log_uniform(random, 0.7, 9);
  if (kind == BlurKind::disc) r.sigma_px = log_uniform(random, 0.7, 7);
  if (kind == BlurKind::combined) r.sigma_px = log_uniform(random, 0.4, std::max(0.6, r.smear_px / 4));
  return r;
}

cv::Mat smear_kernel(double smear_px, double smear_deg, double bend_rad) {
  const double a = smear_deg * kDegree;
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

namespace {

/// Gaussian of the lens, wider in one direction than across it.
cv::Mat lens_kernel(const CameraRecipe& camera, double added_sigma_px) {
  const double a = camera.astigmatism_deg * kDegree, root = std::sqrt(camera.astigmatism);
  const double wide = std::hypot(camera.lens_sigma_px * root, added_sigma_px),
               narrow = std::hypot(camera.lens_sigma_px / root, added_sigma_px);
  const int reach = static_cast<int>(std::ceil(4 * wide)) + 1;
  cv::Mat kernel(2 * reach + 1, 2 * reach + 1, CV_32F);
  for (int y = -reach; y <= reach; ++y)
    for (int x = -reach; x <= reach; ++x) {
      const double along = x * std::cos(a) - y * std::sin(a), across = x * std::sin(a) + y * std::cos(a);
      kernel.at<float>(y + reach, x + reach) = static_cast<float>(
          std::exp(-0.5 * (along * along / (wide * wide) + across * across / (narrow * narrow))));
    }
  return kernel / cv::sum(kernel)[0];
}

/// Mean of what the camera sees while it moves and turns.
cv::Mat turned(const cv::Mat& light, const BlurRecipe& r) {
  const double a = r.smear_deg * kDegree;
  const double corner_px = std::abs(r.turn_rad) * std::hypot(light.cols, light.rows) / 2;
  const int steps = static_cast<int>(std::ceil(1.5 * (r.smear_px + corner_px))) + 2;
  const double cx = (light.cols - 1) / 2.0, cy = (light.rows - 1) / 2.0;
  cv::Mat sum = cv::Mat::zeros(light.size(), CV_32FC3), seen;
  for (int i = 0; i < steps; ++i) {
    const double share = (i + 0.5) / steps - 0.5, turn = r.turn_rad * share;
    const double c = std::cos(turn), s = std::sin(turn);
    const cv::Matx23d map(c, -s, cx - c * cx + s * cy + share * r.smear_px * std::cos(a), s, c,
                          cy - s * cx - c * cy - share * r.smear_px * std::sin(a));
    cv::warpAffine(light, seen, map, light.size(), cv::INTER_CUBIC | cv::WARP_INVERSE_MAP,
                   cv::BORDER_REFLECT);
    sum += seen;
  }
  return cv::max(sum / steps, 0);
}

}  // namespace

cv::Mat take_picture(const cv::Mat& sharp, const BlurRecipe& r, std::mt19937& random) {
  const CameraRecipe& camera = r.camera;
  cv::Mat picture = camera.linear_light ? decoded_light(sharp) : sharp.clone();
  const auto filter = [&](const cv::Mat& kernel) {
    cv::filter2D(picture, picture, CV_32F, kernel, {-1, -1}, 0, cv::BORDER_REFLECT);
  };
  if (r.kind == BlurKind::turning)
    picture = turned(picture, r);
  else if (r.smeared())
    filter(smear_kernel(r.smear_px, r.smear_deg, r.bend_rad));
  if (r.kind == BlurKind::disc || r.kind == BlurKind::combined) {
    filter(disc_kernel(2 * r.sigma_px));
    filter(lens_kernel(camera, 0));
  } else if (r.sigma_px > 1.5) {
    cv::GaussianBlur(picture, picture, {0, 0}, r.sigma_px, r.sigma_px, cv::BORDER_REFLECT);
    filter(lens_kernel(camera, 0));
  } else {
    filter(lens_kernel(camera, r.sigma_px));
  }
  add_noise(picture, camera.noise_levels, camera.linear_light, random);
  if (camera.mosaic_sensor) picture = through_mosaic(cv::min(cv::max(picture, 0), 1));
  if (camera.linear_light) picture = coded_light(picture);
  if (camera.sharpening > 0) {
    cv::Mat soft;
    cv::GaussianBlur(picture, soft, {0, 0}, 1.0);
    picture += camera.sharpening * (picture - soft);
  }
  cv::Mat bytes;
  picture.convertTo(bytes, CV_8UC3, 255);
  if (camera.jpeg_quality == 0) return bytes;
  std::vector<std::uint8_t> file;
  cv::imencode(".jpg", bytes, file, {cv::IMWRITE_JPEG_QUALITY, camera.jpeg_quality});
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
