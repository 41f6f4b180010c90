#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"

#include "pictures/blur_samples.h"

namespace lookdown::bench {
namespace {

using Random = std::mt19937;

cv::Scalar colour(Random& random, const cv::Scalar& base, double spread) {
  const double common = uniform(random, -spread, spread);
  cv::Scalar out;
  for (int c = 0; c < 3; ++c)
    out[c] = std::clamp(base[c] + common + uniform(random, -spread, spread) * 0.3, 0.02, 0.98);
  return out;
}

cv::Scalar base_colour(Random& random) {
  return {uniform(random, 0.2, 0.7), uniform(random, 0.25, 0.7), uniform(random, 0.2, 0.75)};
}

/// Opaque discs of power-law sizes, the nearest on top (Lee, Mumford & Huang, Int. J. Computer Vision 41:35,
/// 2001).
cv::Mat dead_leaves(const cv::Size& size, Random& random) {
  const cv::Scalar base = base_colour(random);
  const double spread = uniform(random, 0.05, 0.3), least = uniform(random, 1.5, 6);
  cv::Mat picture(size, CV_32FC3, base);
  const int count = static_cast<int>(size.area() / (least * least * 8));
  for (int i = 0; i < count; ++i) {
    const double radius = least / std::sqrt(uniform(random, least * least / 6000, 1));
    const cv::Point at(static_cast<int>(uniform(random, 0, size.width) * 16),
                       static_cast<int>(uniform(random, 0, size.height) * 16));
    cv::circle(picture, at, static_cast<int>(radius * 16), colour(random, base, spread), cv::FILLED,
               cv::LINE_8, 4);
  }
  return picture;
}

/// Stones: shaded ellipses.
cv::Mat stones(const cv::Size& size, Random& random) {
  const cv::Scalar base = base_colour(random);
  const double grain = uniform(random, 5, 30), spread = uniform(random, 0.05, 0.2);
  cv::Mat picture(size, CV_32FC3, base * 0.4);
  const int count = static_cast<int>(3 * size.area() / (grain * grain));
  for (int i = 0; i < count; ++i) {
    const cv::Point at(static_cast<int>(uniform(random, 0, size.width)),
                       static_cast<int>(uniform(random, 0, size.height)));
    const double r = grain * uniform(random, 0.25, 0.7);
    const cv::Size axes(std::max(1, static_cast<int>(r)),
                        std::max(1, static_cast<int>(r * uniform(random, 0.5, 1))));
    const double turn = uniform(random, 0, 180);
    const cv::Scalar c = colour(random, base, spread);
    cv::ellipse(picture, at + cv::Point(1, 1), axes, turn, 0, 360, c * 0.55, cv::FILLED);
    cv::ellipse(picture, at, axes, turn, 0, 360, c, cv::FILLED);
  }
  return picture;
}

/// Blades, stalks, ropes: straight strokes, with or without a common direction.
cv::Mat strokes(const cv::Size& size, Random& random) {
  const cv::Scalar base = base_colour(random);
  cv::Mat picture(size, CV_32FC3, base * 0.5);
  const double common = uniform(random, 0, std::numbers::pi), scatter = uniform(random, 0.2, 1.6);
  const double length = uniform(random, 15, 80), spread = uniform(random, 0.08, 0.25);
  const int width = static_cast<int>(uniform(random, 1, 5));
  const int count = static_cast<int>(size.area() / (length * width * 0.7));
  for (int i = 0; i < count; ++i) {
    const cv::Point2d a(uniform(random, 0, size.width), uniform(random, 0, size.height));
    const double t = common + uniform(random, -scatter, scatter);
    const cv::Point2d b = a + length * uniform(random, 0.4, 1) * cv::Point2d(std::cos(t), std::sin(t));
    cv::line(picture, a, b, colour(random, base, spread), width, cv::LINE_AA);
  }
  return picture;
}

/// Roofs, slabs, boards: turned rectangles, some ribbed, on an even ground.
cv::Mat plates(const cv::Size& size, Random& random) {
  const cv::Scalar base = base_colour(random);
  cv::Mat picture(size, CV_32FC3, base);
  const int count = static_cast<int>(uniform(random, 5, 60));
  for (int i = 0; i < count; ++i) {
    const cv::RotatedRect box(
        {static_cast<float>(uniform(random, 0, size.width)),
         static_cast<float>(uniform(random, 0, size.height))},
        {static_cast<float>(uniform(random, 20, 500)), static_cast<float>(uniform(random, 20, 400))},
        static_cast<float>(uniform(random, 0, 180)));
    cv::Point2f corner[4];
    box.points(corner);
    std::vector<cv::Point> outline(corner, corner + 4);
    const cv::Scalar c = colour(random, base, 0.35);
    cv::fillConvexPoly(picture, outline, c, cv::LINE_AA);
    if (uniform(random, 0, 1) > 0.35) continue;
    const int ribs = static_cast<int>(std::max(2.0, box.size.width / uniform(random, 5, 25)));
    for (int k = 0; k < ribs; ++k) {
      const auto s = static_cast<float>((k + 0.5) / ribs);
      cv::line(picture, corner[0] + s * (corner[3] - corner[0]), corner[1] + s * (corner[2] - corner[1]),
               c * uniform(random, 0.6, 0.9), 2, cv::LINE_AA);
    }
  }
  return picture;
}

cv::Mat power_law(const cv::Size& size, Random& random);

/// Bricks, paving, roof tiles, boards: rows of like plates with joints between, a little uneven, turned as a
/// whole.
cv::Mat courses(const cv::Size& size, Random& random) {
  const cv::Scalar base = base_colour(random), joint = base * uniform(random, 0.4, 1.5);
  const double length = uniform(random, 20, 160), height = length * uniform(random, 0.2, 0.9),
               gap = std::max(2.0, height * uniform(random, 0.04, 0.15));
  const double turn = uniform(random, 0, 1) < 0.4 ? 0 : uniform(random, 0, 180),
               spread = uniform(random, 0.02, 0.15), uneven = uniform(random, 0, 0.08);
  cv::Mat picture(size, CV_32FC3, joint);
  const double reach = std::hypot(size.width, size.height) / 2 + length;
  const double c = std::cos(turn * kDegree), s = std::sin(turn * kDegree);
  for (double v = -reach; v < reach; v += height)
    for (double u = -reach + uniform(random, 0, length); u < reach; u += length) {
      std::vector<cv::Point> outline;
      for (const auto& [du, dv] : {std::pair{0.0, 0.0}, std::pair{length - gap, 0.0},
                                   std::pair{length - gap, height - gap}, std::pair{0.0, height - gap}}) {
        const double x = u + du + uniform(random, -uneven, uneven) * height,
                     y = v + dv + uniform(random, -uneven, uneven) * height;
        outline.emplace_back(static_cast<int>(std::lround(size.width / 2.0 + x * c - y * s)),
                             static_cast<int>(std::lround(size.height / 2.0 + x * s + y * c)));
      }
      cv::fillConvexPoly(picture, outline, colour(random, base, spread), cv::LINE_AA);
    }
  if (uniform(random, 0, 1) < 0.6)
    picture += uniform(random, 0.1, 0.5) * (power_law(size, random) - cv::Scalar::all(0.5));
  return picture;
}

/// Lettering, road marks, litter: small dark or bright marks in rows on an even ground.
cv::Mat marks(const cv::Size& size, Random& random) {
  const bool dark = uniform(random, 0, 1) < 0.7;
  cv::Mat picture(size, CV_32FC3,
                  cv::Scalar::all(dark ? uniform(random, 0.6, 0.95) : uniform(random, 0.1, 0.4)));
  const double high = uniform(random, 14, 60), thick = std::max(2.0, high * uniform(random, 0.08, 0.2));
  const cv::Scalar ink = cv::Scalar::all(dark ? uniform(random, 0.02, 0.3) : uniform(random, 0.6, 0.95));
  for (double y = high; y < size.height; y += 1.7 * high)
    for (double x = high; x < size.width; x += high * uniform(random, 0.6, 1.3))
      for (int stroke = uniform(random, 0, 1) < 0.15 ? 3 : 0; stroke < 3; ++stroke) {
        const auto corner = [&] {
          return cv::Point(static_cast<int>(x + std::lround(uniform(random, -0.5, 1.5)) * high * 0.5),
                           static_cast<int>(y - std::lround(uniform(random, -0.5, 2.5)) * high * 0.5));
        };
        if (uniform(random, 0, 1) < 0.7)
          cv::line(picture, corner(), corner(), ink, static_cast<int>(thick), cv::LINE_AA);
        else
          cv::ellipse(picture, corner(), cv::Size(static_cast<int>(high / 3), static_cast<int>(high / 3)), 0,
                      uniform(random, 0, 180), uniform(random, 180, 360), ink, static_cast<int>(thick),
                      cv::LINE_AA);
      }
  return picture;
}

/// Gaussian noise with the power spectrum f^-slope, stretched in one direction.
cv::Mat power_law(const cv::Size& size, Random& random) {
  const double slope = uniform(random, 1.2, 3.2), stretch = uniform(random, 1, 1.8),
               turn = uniform(random, 0, std::numbers::pi);
  const double contrast = uniform(random, 0.05, 0.2);
  cv::RNG rng(random());
  cv::Mat noise(size, CV_32F), spectrum;
  rng.fill(noise, cv::RNG::NORMAL, 0, 1);
  cv::dft(noise, spectrum, cv::DFT_COMPLEX_OUTPUT);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      const double fx = (x <= size.width / 2 ? x : x - size.width) / static_cast<double>(size.width);
      const double fy = (y <= size.height / 2 ? y : y - size.height) / static_cast<double>(size.height);
      const double u = fx * std::cos(turn) + fy * std::sin(turn),
                   v = (fy * std::cos(turn) - fx * std::sin(turn)) * stretch;
      const double f = std::max(0.002, std::hypot(u, v));
      spectrum.at<cv::Vec2f>(y, x) *= static_cast<float>(std::pow(f, -slope / 2));
    }
  cv::Mat field;
  cv::dft(spectrum, field, cv::DFT_INVERSE | cv::DFT_REAL_OUTPUT | cv::DFT_SCALE);
  cv::Scalar mean, deviation;
  cv::meanStdDev(field, mean, deviation);
  field = (field - mean[0]) * (contrast / std::max(1e-9, deviation[0]));
  const cv::Scalar base = base_colour(random);
  std::vector<cv::Mat> planes;
  for (int c = 0; c < 3; ++c) planes.push_back(cv::Mat(field * uniform(random, 0.7, 1.2) + base[c]));
  cv::Mat picture;
  cv::merge(planes, picture);
  return cv::min(cv::max(picture, 0.01), 0.99);
}

/// Ripples of sand, swell, mown grass: a band of frequencies with a common direction and nothing fine,
/// whatever the camera does.
cv::Mat ripples(const cv::Size& size, Random& random) {
  const cv::Scalar base = base_colour(random);
  const double length = uniform(random, 8, 40), stretch = uniform(random, 1.2, 6),
               turn = uniform(random, 0, 180), contrast = uniform(random, 0.02, 0.12);
  cv::RNG rng(random());
  cv::Mat noise(size, CV_32F);
  rng.fill(noise, cv::RNG::NORMAL, 0, 1);
  // Rows stretched by a one-sided blur in a turned frame would cost a warp; an anisotropic Gaussian as a
  // small kernel does the same.
  const double along = length * stretch / 4, across = length / 4;
  const int reach = static_cast<int>(std::ceil(2.5 * along));
  cv::Mat line = cv::getGaussianKernel(2 * reach + 1, along, CV_32F),
          kernel = cv::Mat::zeros(2 * reach + 1, 2 * reach + 1, CV_32F);
  const double t = turn * kDegree;
  for (int i = -reach; i <= reach; ++i)
    kernel.at<float>(reach + static_cast<int>(std::lround(i * std::sin(t))),
                     reach + static_cast<int>(std::lround(i * std::cos(t)))) += line.at<float>(i + reach);
  cv::Mat small, field;
  cv::resize(noise, small, size / 2);
  cv::filter2D(small, small, CV_32F, kernel);
  cv::GaussianBlur(small, small, {0, 0}, across / 2);
  cv::resize(small, field, size, 0, 0, cv::INTER_CUBIC);
  cv::Scalar mean, deviation;
  cv::meanStdDev(field, mean, deviation);
  field = (field - mean[0]) * (contrast / std::max(1e-9, deviation[0]));
  std::vector<cv::Mat> planes;
  for (int c = 0; c < 3; ++c) planes.push_back(cv::Mat(field * uniform(random, 0.7, 1.2) + base[c]));
  cv::Mat picture;
  cv::merge(planes, picture);
  return cv::min(cv::max(picture, 0.01), 0.99);
}

cv::Mat one_texture(const cv::Size& size, Random& random) {
  switch (std::uniform_int_distribution<int>(0, 6)(random)) {
    case 0:
      return dead_leaves(size, random);
    case 1:
      return stones(size, random);
    case 2:
      return strokes(size, random);
    case 3:
      return plates(size, random);
    case 4:
      return courses(size, random);
    case 5:
      return marks(size, random);
    default:
      return power_law(size, random);
  }
}

}  // namespace

cv::Mat made_texture(const cv::Size& size, Random& random) {
  // Drawn twice as large and averaged, so that the result is limited by its pixels and not by its drawing.
  const cv::Size large(size.width * 2, size.height * 2);
  cv::Mat picture = one_texture(large, random);
  const double mix = uniform(random, 0, 1);
  if (mix < 0.6) {  // shore: another texture, still water, or much of something soft on one side
    const bool soft = mix < 0.35;
    cv::Mat other = mix < 0.08 ? cv::Mat(large, CV_32FC3, base_colour(random))
                    : soft     ? ripples(large, random)
                               : one_texture(large, random);
    const double t = uniform(random, 0, 2 * std::numbers::pi),
                 shift = uniform(random, soft ? -0.45 : -0.3, soft ? 0.1 : 0.3) * large.height;
    cv::Mat mask(large, CV_8U);
    for (int y = 0; y < large.height; ++y)
      for (int x = 0; x < large.width; ++x)
        mask.at<std::uint8_t>(y, x) = (x - large.width / 2.0) * std::cos(t) +
                                                  (y - large.height / 2.0) * std::sin(t) +
                                                  40 * std::sin(x * 0.011 + y * 0.007) >
                                              shift
                                          ? 255
                                          : 0;
    other.copyTo(picture, mask);
  } else if (mix < 0.75) {  // weathering: a weak noise over everything
    picture += 0.5 * (power_law(large, random) - cv::Scalar::all(0.5));
  }
  cv::Mat small;
  cv::resize(picture, small, size, 0, 0, cv::INTER_AREA);
  return cv::min(cv::max(small, 0.0), 1.0);
}

}  // namespace lookdown::bench
