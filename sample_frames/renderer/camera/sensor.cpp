#include "camera/sensor.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "site/noise.h"

namespace render {
namespace {

// Red and blue are imaged at slightly different scales than green.
void add_colour_fringes(cv::Mat& light, double fringe) {
  if (fringe <= 0) return;
  std::vector<cv::Mat> planes;
  cv::split(light, planes);
  const double cx = (light.cols - 1) / 2.0, cy = (light.rows - 1) / 2.0;
  for (const int channel : {0, 2}) {
    const double scale = channel == 0 ? 1 + fringe / 2 : 1 - fringe / 2;
    const cv::Matx23d inverse(scale, 0, cx * (1 - scale), 0, scale, cy * (1 - scale));
    cv::Mat moved;
    cv::warpAffine(planes[size_t(channel)], moved, inverse, light.size(),
                   cv::INTER_CUBIC | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);
    planes[size_t(channel)] = moved;
  }
  cv::merge(planes, light);
}

// The lens is softer and darker towards the corners (blur grows with the square of the distance, light falls
// as cos^4).
void add_corner_faults(cv::Mat& light, const SensorOptions& options) {
  cv::Mat soft;
  if (options.corner_blur_px > 0)
    cv::GaussianBlur(light, soft, {0, 0}, options.corner_blur_px, 0, cv::BORDER_REPLICATE);
  const double cx = (light.cols - 1) / 2.0, cy = (light.rows - 1) / 2.0, corner2 = cx * cx + cy * cy;
  tbb::parallel_for(0, light.rows, [&](int y) {
    auto* row = light.ptr<cv::Vec3f>(y);
    const auto* soft_row = soft.empty() ? row : soft.ptr<cv::Vec3f>(y);
    for (int x = 0; x < light.cols; ++x) {
      const double r2 = ((x - cx) * (x - cx) + (y - cy) * (y - cy)) / corner2;
      const auto share = static_cast<float>(r2);
      const auto transmitted = static_cast<float>(1 - options.vignetting * (0.75 * r2 + 0.25 * r2 * r2));
      for (int c = 0; c < 3; ++c)
        row[x][c] = (row[x][c] + share * (soft_row[x][c] - row[x][c])) * transmitted;
    }
  });
}

// The kite line close before the lens: dark, far out of focus.
void draw_kite_line(cv::Mat& light, uint32_t seed) {
  RandomStream random(seed, 91);
  const double angle = random.uniform(0, kPi), width = random.uniform(2.5, 7) * light.cols / 1600.0;
  const double offset = random.uniform(-0.42, 0.42) * light.rows, depth = random.uniform(0.3, 0.75);
  const double nx = -std::sin(angle), ny = std::cos(angle);
  tbb::parallel_for(0, light.rows, [&](int y) {
    auto* row = light.ptr<cv::Vec3f>(y);
    for (int x = 0; x < light.cols; ++x) {
      const double d = nx * (x - light.cols / 2.0) + ny * (y - light.rows / 2.0) - offset;
      const auto keep = static_cast<float>(1 - depth * std::exp(-d * d / (2 * width * width)));
      row[x] *= keep;
    }
  });
}

float normal_of(uint32_t h) {
  // Sum of four uniforms: near enough to a normal, bounded, cheap.
  const float a = static_cast<float>(h & 0xFF) + static_cast<float>((h >> 8) & 0xFF) +
                  static_cast<float>((h >> 16) & 0xFF) + static_cast<float>(h >> 24);
  return (a - 510.0F) / 147.8F;
}

// Red green / green blue filter mosaic with shot and read noise, as 16-bit counts (65535 = full scale).
cv::Mat exposed_mosaic(const cv::Mat& light, const FramePlan& frame, const SensorOptions& options,
                       std::array<float, 3> balance) {
  cv::Mat mosaic(light.size(), CV_16U);
  const auto gain = static_cast<float>(options.gain * std::pow(2.0, frame.exposure_ev));
  const auto full_well =
      static_cast<float>(9000.0 * 200.0 / frame.iso / std::max(1e-6, options.noise * options.noise));
  const float read = 3.5F;
  tbb::parallel_for(0, light.rows, [&](int y) {
    const auto* row = light.ptr<cv::Vec3f>(y);
    auto* out = mosaic.ptr<uint16_t>(y);
    for (int x = 0; x < light.cols; ++x) {
      const int channel = (y & 1) == 0 ? ((x & 1) == 0 ? 2 : 1) : ((x & 1) == 0 ? 1 : 0);
      // Raw red and blue sites collect less; white balance raises them again, noise included.
      const float raw = row[x][channel] * gain / balance[size_t(channel)];
      float electrons = std::max(0.0F, raw) * full_well;
      const uint32_t h = hash(uint32_t(x), uint32_t(y), frame.seed);
      if (options.noise > 0) electrons += std::sqrt(electrons + read * read) * normal_of(h);
      const float value = std::min(electrons / full_well, 1.0F) * balance[size_t(channel)];
      out[x] = static_cast<uint16_t>(std::clamp(value * 32768.0F + 512.0F, 0.0F, 65535.0F));
    }
  });
  return mosaic;
}

// Shoulder above the mid tones, then the sRGB curve (IEC 61966-2-1); 16-bit in, 8-bit out.
std::vector<uint8_t> tone_table() {
  std::vector<uint8_t> table(65536);
  for (int i = 0; i < 65536; ++i) {
    double v = std::clamp((i - 512) / 32768.0, 0.0, 1.0);
    v = v * (1 + 0.35 * (1 - v));  // gentle lift of the mid tones
    v = std::min(v, 1.0);
    const double coded = v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
    table[size_t(i)] = static_cast<uint8_t>(std::lround(255 * std::clamp(coded, 0.0, 1.0)));
  }
  return table;
}

cv::Mat through_lens(const cv::Mat& light_in, const FramePlan& frame, const SensorOptions& options) {
  cv::Mat light = light_in.clone();
  add_colour_fringes(light, options.fringe);
  add_corner_faults(light, options);
  if (frame.kite_line) draw_kite_line(light, frame.seed);

  const auto warm = static_cast<float>(frame.white_balance);
  const cv::Scalar tint(1 - warm, 1, 1 + warm);
  cv::multiply(light, tint, light);
  return light;
}

}  // namespace

double metered_gain(const cv::Mat& light) {
  std::vector<float> green;
  for (int y = 0; y < light.rows; y += 9)
    for (int x = 0; x < light.cols; x += 9) green.push_back(light.at<cv::Vec3f>(y, x)[1]);
  const size_t rank = green.size() * 4 / 5;
  std::nth_element(green.begin(), green.begin() + static_cast<std::ptrdiff_t>(rank), green.end());
  return 0.36 / std::max(0.02F, green[rank]);
}

cv::Mat light_on_sensor(const cv::Mat& light_in, const FramePlan& frame, const SensorOptions& options) {
  cv::Mat levels;
  through_lens(light_in, frame, options)
      .convertTo(levels, CV_16U, 65535 * options.gain * std::pow(2.0, frame.exposure_ev));
  return levels;
}

cv::Mat develop(const cv::Mat& light_in, const FramePlan& frame, const SensorOptions& options) {
  const cv::Mat light = through_lens(light_in, frame, options);
  cv::Mat mosaic = exposed_mosaic(light, frame, options, {1.6F, 1.0F, 1.9F});
  cv::Mat colour;
  cv::demosaicing(mosaic, colour, cv::COLOR_BayerBG2BGR_EA);
  colour.row(1).copyTo(colour.row(0));
  colour.row(colour.rows - 2).copyTo(colour.row(colour.rows - 1));
  colour.col(1).copyTo(colour.col(0));
  colour.col(colour.cols - 2).copyTo(colour.col(colour.cols - 1));

  static const std::vector<uint8_t> tones = tone_table();
  cv::Mat picture(colour.size(), CV_8UC3);
  tbb::parallel_for(0, colour.rows, [&](int y) {
    const uint16_t* from = colour.ptr<uint16_t>(y);
    uint8_t* to = picture.ptr<uint8_t>(y);
    for (int i = 0; i < colour.cols * 3; ++i) to[i] = tones[from[i]];
  });
  if (options.sharpening > 0) {
    cv::Mat soft;
    cv::GaussianBlur(picture, soft, {0, 0}, 0.9, 0, cv::BORDER_REPLICATE);
    cv::addWeighted(picture, 1 + options.sharpening, soft, -options.sharpening, 0, picture);
  }
  return picture;
}

}  // namespace render
