#include "light/water.h"

#include <algorithm>
#include <array>
#include <opencv2/core.hpp>

#include "site/noise.h"

namespace render {
namespace {

constexpr int kTile = 512;

// One periodic tile of slopes with a mip pyramid.
struct SlopeTile {
  double texel_m;
  double turn;                  // radians against the other tile, so that repeats do not line up
  std::vector<cv::Mat> levels;  // CV_32FC2
  std::vector<double> lost;     // variance per component gone at each level

  SlopeTile(double texel, double shortest_m, double longest_m, double variance, double turned,
            double wind_heading, double time_s, uint32_t seed)
      : texel_m(texel), turn(turned) {
    cv::Mat along_x(kTile, kTile, CV_32FC2, cv::Scalar::all(0)), along_y = along_x.clone();
    RandomStream random(seed);
    for (int j = 0; j < kTile; ++j)
      for (int i = 0; i < kTile; ++i) {
        const double phase = random.uniform(0, 2 * kPi), size = std::abs(random.normal());
        const double fx = i <= kTile / 2 ? i : i - kTile, fy = j <= kTile / 2 ? j : j - kTile;
        const double kx = 2 * kPi * fx / (kTile * texel), ky = 2 * kPi * fy / (kTile * texel);
        const double k = std::hypot(kx, ky);
        if (k <= 0) continue;
        const double wavelength = 2 * kPi / k;
        if (wavelength < shortest_m || wavelength > longest_m) continue;
        const double spread = 0.25 + std::pow(std::cos(std::atan2(ky, kx) - (wind_heading - turned)), 2);
        // Equal slope variance in each octave of wavelength: density falls as 1/k^2 in the plane.
        const double amplitude = size * std::sqrt(spread) / (k * k);
        const double omega = std::sqrt(9.81 * k + 7.4e-5 * k * k * k);
        const double angle = phase - omega * time_s;
        // Slope spectrum is i k times the height spectrum.
        const double re = -amplitude * std::sin(angle), im = amplitude * std::cos(angle);
        along_x.at<cv::Vec2f>(j, i) = {float(re * kx), float(im * kx)};
        along_y.at<cv::Vec2f>(j, i) = {float(re * ky), float(im * ky)};
      }
    cv::Mat sx, sy, parts[2], slopes;
    cv::idft(along_x, sx);
    cv::idft(along_y, sy);
    cv::extractChannel(sx, parts[0], 0);
    cv::extractChannel(sy, parts[1], 0);
    cv::merge(parts, 2, slopes);
    slopes *= std::sqrt(variance / (mean_square(slopes) + 1e-30));
    build_levels(slopes);
  }

  void build_levels(const cv::Mat& slopes) {
    levels.push_back(slopes);
    const double full = mean_square(slopes);
    lost.push_back(0);
    while (levels.back().cols > 4) {
      const cv::Mat& fine = levels.back();
      cv::Mat coarse(fine.rows / 2, fine.cols / 2, CV_32FC2);
      for (int y = 0; y < coarse.rows; ++y)
        for (int x = 0; x < coarse.cols; ++x)
          coarse.at<cv::Vec2f>(y, x) =
              (fine.at<cv::Vec2f>(2 * y, 2 * x) + fine.at<cv::Vec2f>(2 * y, 2 * x + 1) +
               fine.at<cv::Vec2f>(2 * y + 1, 2 * x) + fine.at<cv::Vec2f>(2 * y + 1, 2 * x + 1)) *
              0.25F;
      levels.push_back(coarse);
      lost.push_back(full - mean_square(coarse));
    }
  }

  static double mean_square(const cv::Mat& m) {
    double sum = 0;
    for (int y = 0; y < m.rows; ++y)
      for (int x = 0; x < m.cols; ++x) {
        const cv::Vec2f v = m.at<cv::Vec2f>(y, x);
        sum += 0.5 * (v[0] * v[0] + v[1] * v[1]);
      }
    return sum / (m.rows * m.cols);
  }

  void add(Vec2 at, double footprint_m, WaterSurface::Slope& slope) const {
    const double c = std::cos(turn), s = std::sin(turn);
    const double u = (c * at.x + s * at.y) / texel_m, v = (-s * at.x + c * at.y) / texel_m;
    const double wanted = std::log2(std::max(1.0, footprint_m / texel_m));
    const size_t level = std::min(static_cast<size_t>(wanted + 0.5), levels.size() - 1);
    const cv::Mat& m = levels[level];
    const double scale = 1.0 / (1 << level);
    const auto x = static_cast<float>(u * scale - 0.5), y = static_cast<float>(v * scale - 0.5);
    const int ix = floor_int(x), iy = floor_int(y), mask = m.cols - 1;
    const float fx = x - float(ix), fy = y - float(iy);
    const cv::Vec2f* top = m.ptr<cv::Vec2f>(iy & mask);
    const cv::Vec2f* bottom = m.ptr<cv::Vec2f>((iy + 1) & mask);
    const int left = ix & mask, right = (ix + 1) & mask;
    const cv::Vec2f value = (top[left] * (1 - fx) + top[right] * fx) * (1 - fy) +
                            (bottom[left] * (1 - fx) + bottom[right] * fx) * fy;
    slope.x += c * value[0] - s * value[1];
    slope.y += s * value[0] + c * value[1];
    slope.hidden_variance += lost[level];
  }
};

}  // namespace

double pond_mean_square_slope(double wind_m_s) {
  const double open_sea = 0.003 + 0.00512 * wind_m_s;
  return std::min(0.0008 + 0.3 * open_sea * std::min(1.0, wind_m_s / 2), 0.014);
}

struct WaterSurface::Tiles {
  SlopeTile coarse, fine;
};

WaterSurface::WaterSurface(double mean_square_slope, double wind_heading, double time_s, uint32_t seed)
    : tiles_(new Tiles{
          SlopeTile(0.025, 0.15, 4.0, mean_square_slope * 0.27, 0.31, wind_heading, time_s, seed),
          SlopeTile(0.006, 0.02, 0.15, mean_square_slope * 0.23, -0.47, wind_heading, time_s, seed + 1)}) {}
WaterSurface::~WaterSurface() = default;
WaterSurface::WaterSurface(WaterSurface&&) noexcept = default;

WaterSurface::Slope WaterSurface::at(Vec2 position, double footprint_m, double shelter) const {
  Slope slope{0, 0, 0};
  tiles_->coarse.add(position, footprint_m, slope);
  tiles_->fine.add(position, footprint_m, slope);
  const double scale = std::sqrt(shelter);
  return {slope.x * scale, slope.y * scale, slope.hidden_variance * shelter};
}

double fresnel_reflectance(double cos_incidence, double n) {
  const double ci = std::clamp(cos_incidence, 0.0, 1.0);
  const double ct = std::sqrt(1 - (1 - ci * ci) / (n * n));
  const double s = (ci - n * ct) / (ci + n * ct), p = (ct - n * ci) / (ct + n * ci);
  return 0.5 * (s * s + p * p);
}

WaterLight water_light(const Sky& sky, const Pond& pond, const WaterSurface::Slope& slope, Vec3 view,
                       Rgb bottom, double depth_m, float sun_share) {
  const Vec3 normal = unit({-slope.x, -slope.y, 1});
  // Seen flat along a rough surface, mostly the facets that face the eye are seen: they reflect less, and
  // from higher up.
  const double facing = std::max(0.0, -dot(view, normal));
  const double cos_view = std::min(1.0, std::sqrt(facing * facing + 3 * slope.hidden_variance + 0.0036));
  const auto reflectance = static_cast<float>(fresnel_reflectance(cos_view));
  Vec3 mirrored = view + normal * (2 * cos_view);
  mirrored.z = std::max(0.01, std::abs(mirrored.z));

  WaterLight light;
  // Down and up again: 1.1 times the depth each way for slanting light.
  const auto path = static_cast<float>(2.2 * depth_m);
  const Rgb through{std::exp(-pond.attenuation.r * path), std::exp(-pond.attenuation.g * path),
                    std::exp(-pond.attenuation.b * path)};
  const Rgb below = bottom * through + pond.deep_albedo * Rgb{1 - through.r, 1 - through.g, 1 - through.b};
  const Rgb daylight = sky.sun_irradiance() * sun_share + sky.sky_irradiance();
  light.leaving = below * daylight * ((1 - reflectance) * 0.96F);

  // Facets that mirror the sun: their share of the hidden slopes, Cox and Munk's radiance relation.
  const Vec3 half = unit(sky.to_sun() - view);
  const double need_x = -half.x / half.z - slope.x, need_y = -half.y / half.z - slope.y;
  const double variance = slope.hidden_variance + 6e-6;  // + half the sun's angular size
  const double density =
      std::exp(-(need_x * need_x + need_y * need_y) / (2 * variance)) / (2 * kPi * variance);
  const double cos_half = std::max(0.0, -dot(view, half));
  const double normal_share = 1.0 / std::max(0.1, sky.to_sun().z);
  const double glint = fresnel_reflectance(cos_half) * normal_share * density /
                       (4 * std::max(0.08, -view.z) * std::pow(half.z, 4));
  light.reflected = sky.reflected_radiance(unit(mirrored)) * reflectance +
                    sky.sun_irradiance() * (static_cast<float>(std::min(glint, 400.0)) * sun_share);
  return light;
}

}  // namespace render
