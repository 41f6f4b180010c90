// Sky radiance, daylight and haze of one flight or frame. Radiance is in units of a white diffuser in full
// sun.
#pragma once

#include <cstdint>
#include <vector>

#include "geometry.h"

namespace render {

struct Weather {
  double sun_elevation = 0.9, sun_azimuth = 2.4;  // radians, azimuth clockwise from north
  double cloud_cover = 0.35;                      // 0 clear .. 1 overcast
  double visibility_m = 15000;
  double cloud_shadow = 0.3;                // depth of the drifting shadows, 0..1
  double wind_m_s = 2, wind_heading = 0.7;  // radians, counter-clockwise from east
  double turbidity = 0.4;                   // 0 deep blue .. 1 milky
  uint32_t seed = 1;
};

class Sky {
 public:
  explicit Sky(const Weather& weather);

  const Weather& weather() const { return weather_; }
  Vec3 to_sun() const { return to_sun_; }
  Rgb radiance(Vec3 direction) const;  // unit direction, z >= 0; includes the sun disc and its aureole
  Rgb reflected_radiance(Vec3 direction) const;    // smooth copy without the disc, for water
  Rgb horizon_haze(Vec3 direction) const;          // what distance fades into
  Rgb sun_irradiance() const { return sun_; }      // on the horizontal, no cloud
  Rgb sky_irradiance() const { return ambient_; }  // on the horizontal
  float sun_through_clouds(double x, double y, double time_s) const;

 private:
  Rgb clear(Vec3 direction) const;
  float cloud_at(Vec3 direction, int octaves) const;
  float cloud_texture(Vec3 direction) const;

  Weather weather_;
  Vec3 to_sun_;
  Rgb sun_, ambient_;
  std::vector<Rgb> dome_;  // radiance over the upper half, azimuth by elevation
};

}  // namespace render
