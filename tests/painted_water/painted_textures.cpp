#include "painted_textures.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace painted {

cv::Mat noise(Lot& lot, cv::Size size, double scale_px, double stretch, double angle) {
  if (scale_px >= 10) {  // smooth enough to be made small
    cv::Mat out;
    cv::resize(noise(lot, {size.width / 4 + 1, size.height / 4 + 1}, scale_px / 4, stretch, angle), out, size,
               0, 0, cv::INTER_LINEAR);
    return out;
  }
  const double reach = std::hypot(size.width, size.height) + 8 * scale_px;
  const int n = std::max(4, static_cast<int>(reach / scale_px) + 4);
  const int m = std::max(4, static_cast<int>(reach / (scale_px * stretch)) + 4);
  cv::Mat grid(n, m, CV_32FC1);
  for (int y = 0; y < n; ++y)
    for (int x = 0; x < m; ++x) grid.at<float>(y, x) = static_cast<float>(lot.normal());
  const double c = std::cos(angle), s = std::sin(angle);
  const double cx = size.width / 2.0, cy = size.height / 2.0, sx = 1 / (scale_px * stretch),
               sy = 1 / scale_px;
  const cv::Matx23f pick(c * sx, s * sx, m / 2.0 - sx * (c * cx + s * cy), -s * sy, c * sy,
                         n / 2.0 - sy * (-s * cx + c * cy));
  cv::Mat out;
  cv::warpAffine(grid, out, pick, size, cv::INTER_CUBIC | cv::WARP_INVERSE_MAP, cv::BORDER_REFLECT);
  return out * 1.3;
}

cv::Mat fractal(Lot& lot, cv::Size size, double coarsest_px, double finest_px, double gain) {
  cv::Mat sum = cv::Mat::zeros(size, CV_32FC1);
  double amplitude = 1, power = 0;
  for (double scale = coarsest_px; scale >= finest_px; scale /= 2, amplitude *= gain) {
    sum += noise(lot, size, scale) * amplitude;
    power += amplitude * amplitude;
  }
  return sum / std::sqrt(std::max(power, 1e-9));
}

Colour colour_of(double hue_deg, double saturation, double albedo) {
  // A simple hue wheel in linear light, scaled to the wanted luminance.
  const auto channel = [&](double centre) {
    return 1 - saturation * 0.5 * (1 - std::cos((hue_deg - centre) * kPi / 180));
  };
  Colour c(channel(240), channel(120), channel(0));
  const double light = 0.0722 * c[0] + 0.7152 * c[1] + 0.2126 * c[2];
  return c * static_cast<float>(albedo / light);
}

namespace {

struct Range {
  double low, high;
};

/// What a cover of land is like; pixels at scale 1.
struct Cover {
  Range hue_deg, saturation, albedo, contrast;
  double coarsest_px = 60, gain = 0.8;
};
enum { kLawn, kDryGrass, kSoil, kGravel, kSand, kPaved, kReed, kStones, kTrees };
const std::array<Cover, 9> kCovers{{
    {{75, 115}, {0.35, 0.8}, {0.05, 0.2}, {0.05, 0.3}},
    {{40, 65}, {0.2, 0.5}, {0.12, 0.3}, {0.1, 0.35}},
    {{15, 45}, {0.2, 0.5}, {0.08, 0.25}, {0.08, 0.3}},
    {{20, 60}, {0.02, 0.2}, {0.2, 0.5}, {0.12, 0.4}, 12, 1},
    {{30, 55}, {0.1, 0.35}, {0.3, 0.6}, {0.03, 0.12}},
    {{0, 360}, {0.0, 0.08}, {0.05, 0.35}, {0.03, 0.15}, 30},
    {{55, 100}, {0.3, 0.7}, {0.06, 0.18}, {0.4, 0.8}, 25, 0.95},
    {{20, 60}, {0, 0.2}, {0.25, 0.75}, {0.05, 0.2}},
    {{75, 115}, {0.3, 0.75}, {0.04, 0.14}, {0.6, 1.1}, 40, 0.75},
}};

}  // namespace

cv::Mat cover(Lot& lot, cv::Size size, double scale) {
  constexpr double finest = 2;
  const int kind = lot.pick(int(kCovers.size()));
  const Cover& of = kCovers[std::size_t(kind)];
  const auto drawn = [&](const Range& range) { return lot.between(range.low, range.high); };
  const double hue = drawn(of.hue_deg), saturation = drawn(of.saturation), albedo = drawn(of.albedo),
               contrast = drawn(of.contrast);
  cv::Mat grain =
      fractal(lot, size, of.coarsest_px * scale, finest * std::min(1.0, scale), of.gain) * contrast;
  if (kind == kLawn && lot.chance(0.4)) grain += noise(lot, size, 9 * scale, 30, lot.between(0, kPi)) * 0.08;
  if (kind == kStones) {  // dark joints where smooth noise crosses zero
    const cv::Mat joints = noise(lot, size, lot.between(5, 14) * scale);
    cv::Mat depth;
    cv::exp(-joints.mul(joints) * 12, depth);
    grain -= depth * lot.between(0.8, 2.2);
  }
  cv::exp(grain, grain);
  cv::Mat tint = noise(lot, size, 30 * scale) * lot.between(2, 10);
  cv::Mat out(size, CV_32FC3);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x)
      out.at<Colour>(y, x) =
          colour_of(hue + tint.at<float>(y, x), saturation, albedo) * grain.at<float>(y, x);
  return out;
}

cv::Mat as_stored(const cv::Mat& picture, const Development& development, Lot& lot) {
  cv::Mat grey;
  cv::transform(picture, grey, kLuminance);
  cv::Mat stored(picture.size(), CV_8UC3);
  for (int y = 0; y < picture.rows; ++y)
    for (int x = 0; x < picture.cols; ++x)
      for (int c = 0; c < 3; ++c) {
        const double v = grey.at<float>(y, x) +
                         development.saturation * (picture.at<Colour>(y, x)[c] - grey.at<float>(y, x));
        const double encoded = 255 * std::pow(std::clamp(v, 0.0, 1.0), development.gamma / 2.2) +
                               development.grain * lot.normal();
        stored.at<cv::Vec3b>(y, x)[c] = cv::saturate_cast<uchar>(encoded);
      }
  return stored;
}

}  // namespace painted
