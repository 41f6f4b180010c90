// A moving water surface and what it sends to the camera: light from below through it, sky and sun reflected
// on it.
#pragma once

#include <memory>

#include "geometry.h"
#include "light/sky.h"
#include "site/site.h"

namespace render {

// Mean square slope of a small pond: the clean-water law of Cox and Munk, J. Opt. Soc. Am. 44:838 (1954),
// damped for the short fetch and capped.
double pond_mean_square_slope(double wind_m_s);

// Slopes of a random sea at one moment, in two scales of waves (0.15 to 4 m and 0.02 to 0.15 m), each a
// periodic tile made by inverse Fourier transform; what a footprint cannot resolve is returned as variance.
class WaterSurface {
 public:
  WaterSurface(double mean_square_slope, double wind_heading, double time_s, uint32_t seed);
  ~WaterSurface();
  WaterSurface(WaterSurface&&) noexcept;

  struct Slope {
    double x, y;
    double hidden_variance;  // per component
  };
  Slope at(Vec2 position, double footprint_m, double shelter) const;

 private:
  struct Tiles;
  std::unique_ptr<Tiles> tiles_;
};

// Unpolarized Fresnel reflectance of water for the cosine of the angle of incidence.
double fresnel_reflectance(double cos_incidence, double refractive_index = 1.333);

struct WaterLight {
  Rgb leaving;    // from the water and its bottom
  Rgb reflected;  // sky and sun
};
// `view` is the unit direction of sight (downwards); `sun_share` the direct light that reaches the point.
WaterLight water_light(const Sky& sky, const Pond& pond, const WaterSurface::Slope& slope, Vec3 view,
                       Rgb bottom_albedo, double depth_m, float sun_share);

}  // namespace render
