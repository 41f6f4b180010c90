// Where the sun stands, by the low-precision solar coordinates of Meeus, Astronomical Algorithms, chapter 25
// (about 0.01 degree), with no refraction.
#pragma once

#include <string>

namespace render {

struct SunPosition {
  double elevation_deg, azimuth_deg;  // azimuth clockwise from north
};

struct PlaceAndTime {
  double lat_deg = 45.0, lon_deg = -20.0;
  double utc_offset_h = -1;
  int year = 2025, month = 5, day = 14;
  double local_seconds = 10.5 * 3600;  // since local midnight
};

SunPosition sun_position(const PlaceAndTime& when);

// Moves the time of day (and the latitude, where the sun never gets so high) until the sun has this
// elevation; before noon when `morning`.
PlaceAndTime with_sun_elevation(PlaceAndTime when, double elevation_deg, bool morning);

// "2025-05-14T10:31:02" shifted by `seconds`, with separators of the caller's choice.
std::string local_time(const PlaceAndTime& when, double seconds, char date_separator, char between);
double subsecond(const PlaceAndTime& when, double seconds);

}  // namespace render
