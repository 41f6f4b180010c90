#include "light/sun.h"

#include <fmt/format.h>

#include <cmath>

#include "geometry.h"

namespace render {
namespace {

double julian_day(const PlaceAndTime& when) {
  // Meeus, equation 7.1, Gregorian calendar.
  int y = when.year, m = when.month;
  if (m <= 2) {
    y -= 1;
    m += 12;
  }
  const int a = y / 100, b = 2 - a + a / 4;
  const double days = std::floor(365.25 * (y + 4716)) + std::floor(30.6001 * (m + 1)) + when.day + b - 1524.5;
  return days + (when.local_seconds / 3600 - when.utc_offset_h) / 24;
}

}  // namespace

SunPosition sun_position(const PlaceAndTime& when) {
  const double jd = julian_day(when);
  const double t = (jd + 69.0 / 86400 - 2451545.0) / 36525;  // terrestrial time is about 69 s ahead
  const double mean_longitude = 280.46646 + t * (36000.76983 + 0.0003032 * t);
  const double anomaly = radians(357.52911 + t * (35999.05029 - 0.0001537 * t));
  const double centre = (1.914602 - t * (0.004817 + 0.000014 * t)) * std::sin(anomaly) +
                        (0.019993 - 0.000101 * t) * std::sin(2 * anomaly) + 0.000289 * std::sin(3 * anomaly);
  const double node = radians(125.04 - 1934.136 * t);
  const double apparent = radians(mean_longitude + centre - 0.00569 - 0.00478 * std::sin(node));
  const double obliquity = radians(23.4392911 - 0.0130042 * t + 0.00256 * std::cos(node));
  const double right_ascension = std::atan2(std::cos(obliquity) * std::sin(apparent), std::cos(apparent));
  const double declination = std::asin(std::sin(obliquity) * std::sin(apparent));
  const double sidereal = 280.46061837 + 360.98564736629 * (jd - 2451545.0);
  const double hour_angle = radians(sidereal + when.lon_deg) - right_ascension;
  const double lat = radians(when.lat_deg);
  const double elevation = std::asin(std::sin(lat) * std::sin(declination) +
                                     std::cos(lat) * std::cos(declination) * std::cos(hour_angle));
  const double from_south = std::atan2(
      std::sin(hour_angle), std::cos(hour_angle) * std::sin(lat) - std::tan(declination) * std::cos(lat));
  return {degrees(elevation), std::fmod(degrees(from_south) + 540, 360)};
}

PlaceAndTime with_sun_elevation(PlaceAndTime when, double elevation_deg, bool morning) {
  const double noon = 12 * 3600 - when.lon_deg * 240 + when.utc_offset_h * 3600;
  when.local_seconds = noon;
  while (sun_position(when).elevation_deg < elevation_deg + 2 && when.lat_deg > 0) when.lat_deg -= 1;
  double high = noon, low = morning ? noon - 9 * 3600 : noon + 9 * 3600;
  for (int i = 0; i < 40; ++i) {
    when.local_seconds = 0.5 * (low + high);
    (sun_position(when).elevation_deg < elevation_deg ? low : high) = when.local_seconds;
  }
  when.local_seconds = std::floor(when.local_seconds);
  return when;
}

std::string local_time(const PlaceAndTime& when, double seconds, char date_separator, char between) {
  const auto total = static_cast<int>(std::floor(when.local_seconds + seconds));
  return fmt::format("{:04}{}{:02}{}{:02}{}{:02}:{:02}:{:02}", when.year, date_separator, when.month,
                     date_separator, when.day, between, total / 3600 % 24, total / 60 % 60, total % 60);
}

double subsecond(const PlaceAndTime& when, double seconds) {
  const double total = when.local_seconds + seconds;
  return total - std::floor(total);
}

}  // namespace render
