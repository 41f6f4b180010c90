#include "painted_reflection.h"

#include <algorithm>
#include <cmath>

namespace painted {
namespace {

struct Waves {
  cv::Mat x, y;
  double hidden;  // variance a component that the pixels do not resolve
};
Waves waves(const Surface& of, cv::Size size, Lot& lot) {
  const double wind = lot.between(0, kPi), resolved = lot.between(0.15, 0.8),
               longest = lot.between(8, 60) * of.scale;
  cv::Mat height_along = cv::Mat::zeros(size, CV_32FC1), height_across = height_along.clone();
  double power = 0;
  for (double scale = longest; scale >= 1.2; scale /= 2) {
    height_along += noise(lot, size, scale, lot.between(1, 4), wind + kPi / 2);
    height_across += noise(lot, size, scale, lot.between(1, 4), wind + kPi / 2);
    power += 1;
  }
  const double component = of.mean_square_slope / 2;
  height_along *= std::sqrt(1.3 * resolved * component / power);
  height_across *= std::sqrt(0.7 * resolved * component / power);
  Waves w;
  w.x = height_along * std::cos(wind) - height_across * std::sin(wind);
  w.y = height_along * std::sin(wind) + height_across * std::cos(wind);
  w.hidden = component * (1 - resolved) + 1e-5;
  return w;
}

double fresnel(double cosine) {
  constexpr double n = 1.333;
  const double ci = std::clamp(cosine, 0.0, 1.0), ct = std::sqrt(1 - (1 - ci * ci) / (n * n));
  const double s = (ci - n * ct) / (ci + n * ct), p = (n * ci - ct) / (n * ci + ct);
  return 0.5 * (s * s + p * p);
}

}  // namespace

// Adds the light that the surface mirrors; picture axes x right, y down, z toward the camera's side.
cv::Mat reflected_light(const Surface& of, Lot& lot) {
  const cv::Size size = of.water.size();
  const Waves w = waves(of, size, lot);
  const double focal = lot.between(0.65, 1.3) * size.width;
  const double elevation = of.sun_elevation_deg * kPi / 180;
  const cv::Vec3d sun(std::cos(elevation) * std::cos(of.sun_azimuth_rad),
                      std::cos(elevation) * std::sin(of.sun_azimuth_rad), std::sin(elevation));
  double tilt_x = 0.09 * lot.normal(), tilt_y = 0.09 * lot.normal();
  if (lot.chance(0.6)) {
    // The mirror point is brought near the frame more often than chance, so that there is glare to learn
    // from.
    tilt_x = sun[0] / sun[2] - lot.between(-0.6, 0.6) * size.width / focal;
    tilt_y = sun[1] / sun[2] - lot.between(-0.6, 0.6) * size.height / focal;
    const double lean = std::hypot(tilt_x, tilt_y), most = 0.6;
    if (lean > most) tilt_x *= most / lean, tilt_y *= most / lean;
  }
  const double zenith = std::exp(lot.between(std::log(0.05), std::log(0.35))),
               horizon = lot.between(1.2, 3.5);
  const Colour sky_tint = colour_of(210, lot.between(0, 0.45), 1);
  const bool clouds = lot.chance(0.4);
  const cv::Mat cloud = fractal(lot, {256, 256}, 80, 4, 0.55);
  const double cover_limit = lot.between(-0.3, 1.2);
  const Colour sunlight = Colour(0.88f, 1.0f, 1.06f);
  cv::Mat reflected = cv::Mat::zeros(size, CV_32FC3);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      if (!of.water.at<uchar>(y, x)) continue;
      cv::Vec3d to_viewer(-((x - size.width / 2.0) / focal + tilt_x),
                          -((y - size.height / 2.0) / focal + tilt_y), 1);
      to_viewer /= cv::norm(to_viewer);
      const double sx = w.x.at<float>(y, x), sy = w.y.at<float>(y, x);
      cv::Vec3d normal(-sx, -sy, 1);
      normal /= cv::norm(normal);
      const double cosine = std::max(0.05, normal.dot(to_viewer));
      const cv::Vec3d mirrored = normal * (2 * cosine) - to_viewer;
      const double up = std::max(0.05, mirrored[2]);
      double sky = zenith * (1 + (horizon - 1) * std::pow(1 - std::min(1.0, up), 1.5));
      Colour sky_colour = sky_tint * static_cast<float>(sky);
      if (clouds) {
        const int u = static_cast<int>(128 + 90 * mirrored[0] / up) & 255,
                  v = static_cast<int>(128 + 90 * mirrored[1] / up) & 255;
        const float thick =
            std::clamp((cloud.at<float>(v, u) - static_cast<float>(cover_limit)) * 1.5f, 0.0f, 1.0f);
        sky_colour = sky_colour * (1 - thick) + Colour(0.6f, 0.6f, 0.6f) * thick;
      }
      const cv::Vec3d facet = (sun + to_viewer) / cv::norm(sun + to_viewer);
      const double dx = -facet[0] / facet[2] - sx, dy = -facet[1] / facet[2] - sy;
      const double density = std::exp(-(dx * dx + dy * dy) / (2 * w.hidden)) / (2 * kPi * w.hidden);
      const double glint =
          kPi * fresnel(facet.dot(sun)) * density / (4 * to_viewer[2] * std::pow(facet[2], 4) * sun[2]);
      reflected.at<Colour>(y, x) =
          sky_colour * static_cast<float>(fresnel(cosine)) +
          sunlight * static_cast<float>(std::min(glint, 300.0) * (of.light.at<float>(y, x) > 0.6f ? 1 : 0));
    }
  return reflected;
}

}  // namespace painted
