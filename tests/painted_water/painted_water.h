// Pictures of ponds and land for training and testing the glare search: painted, not traced, with free choice
// of colours, waves, sun and clutter, so that nothing learnt from them rests on the look of one renderer.
// Truth comes with them. The reflection follows Fresnel and Cox & Munk; the rest is made to vary, not to be
// true to any place.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>

namespace painted {

struct Choice {
  std::uint32_t seed = 1;
  int width_px = 1024, height_px = 683;
  double mean_square_slope = -1;  ///< of the waves; negative: drawn by lot
  double sun_elevation_deg = -1;  ///< negative: drawn by lot, 20..75
  std::uint32_t light_seed = 0;   ///< another view of the same ground by the same camera: other waves, mirror
                                  ///< point and exposure; 0: none
  double water_chance = 0.9;      ///< that there is water at all
};

struct Scene {
  cv::Mat bgr;            ///< CV_8UC3
  cv::Mat water;          ///< CV_8UC1, 255 = water surface (foam and glare included, boats and docks not)
  cv::Mat glare;          ///< CV_8UC1, 255 = more light from the surface than from below it
  cv::Mat visible_glare;  ///< of that, where the surface's light alone is at least 0.045 of white: not the
                          ///< faint sky in black water
  cv::Mat crust;          ///< CV_8UC1, 255 = white mineral crust
  double sun_elevation_deg = 0, mean_square_slope = 0;
};
Scene paint(const Choice&);

}  // namespace painted
