// The light that painted water mirrors: facets by Cox & Munk, reflectance by Fresnel. Private to the painter.
#pragma once

#include <opencv2/core.hpp>

#include "painted_textures.h"

namespace painted {

/// What the reflection depends on.
struct Surface {
  cv::Mat water;  ///< CV_8UC1, 255 = water
  cv::Mat light;  ///< CV_32FC1, share of the sun's light that arrives: 1 outside shadows
  double sun_elevation_deg = 45, sun_azimuth_rad = 0;
  double mean_square_slope = 0.005;
  double scale = 1;  ///< size of things in pixels
};

/// CV_32FC3, linear light: mirrored sun, sky and clouds, seen by a camera of a tilt and field of view drawn
/// by lot; 0 on land.
cv::Mat reflected_light(const Surface&, Lot&);

}  // namespace painted
