#include <libnova/libnova.h>

#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/sun_and_water.h"

namespace lookdown {
namespace {

constexpr double kJulianDayOf1970 = 2440587.5;
constexpr double kSolarParallaxDeg = 8.794 / 3600.0;
constexpr double kAberrationDeg = 20.4898 / 3600.0;

// Apparent right ascension and declination of date. libnova 0.16 gives the sun with nutation but for the
// equinox of J2000 and without aberration; the quarter of a degree of precession since then and the
// aberration have to be put on here.
ln_equ_posn apparent_place(double ephemeris_day) {
  ln_helio_posn geometric{};
  ln_get_solar_geom_coords(ephemeris_day, &geometric);
  ln_equ_posn j2000{}, of_date{}, apparent{};
  ln_get_solar_equ_coords(ephemeris_day, &j2000);
  ln_get_equ_prec(&j2000, ephemeris_day, &of_date);

  ln_lnlat_posn ecliptic{};
  ln_get_ecl_from_equ(&of_date, ephemeris_day, &ecliptic);
  ecliptic.lng -= kAberrationDeg / geometric.R;
  ln_get_equ_from_ecl(&ecliptic, ephemeris_day, &apparent);
  return apparent;
}

double refraction_deg(double elevation_deg, const Air& air) {
  constexpr double kSunRadiusAndHorizonRefraction = 0.26667 + 0.5667;
  if (elevation_deg < -kSunRadiusAndHorizonRefraction) return 0;
  const double argument = (elevation_deg + 10.3 / (elevation_deg + 5.11)) * kDegree;
  return air.pressure_mbar / 1010.0 * 283.0 / (273.0 + air.temperature_c) * 1.02 /
         (60.0 * std::tan(argument));
}

}  // namespace

SunPosition sun_position(double lat_deg, double lon_deg, double utc_s, bool refraction, const Air& air) {
  const double universal_day = kJulianDayOf1970 + utc_s / 86400.0;
  ln_equ_posn apparent = apparent_place(ln_get_jde(universal_day));
  ln_lnlat_posn observer{lon_deg, lat_deg};
  ln_hrz_posn seen{};
  // ln_get_hrz_from_equ would use mean sidereal time, which does not go with a right ascension that has
  // nutation in it.
  ln_get_hrz_from_equ_sidereal_time(&apparent, &observer, ln_get_apparent_sidereal_time(universal_day),
                                    &seen);

  SunPosition sun;
  sun.elevation_deg = seen.alt - kSolarParallaxDeg * std::cos(seen.alt * kDegree);
  if (refraction) sun.elevation_deg += refraction_deg(sun.elevation_deg, air);
  // libnova counts azimuth from south.
  sun.azimuth_deg = std::fmod(seen.az + 180.0, 360.0);
  return sun;
}

}  // namespace lookdown
