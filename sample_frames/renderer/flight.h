// A whole flight: what to render, and the loop that does it.
#pragma once

#include <string>
#include <vector>

#include "camera/trajectory.h"

namespace render {

struct FlightRequest {
  std::string scene = "works";
  FlightOptions flight;
  int width_px = 1600, height_px = 1067;
  double focal_35mm = 28, k1 = -0.045;
  bool fisheye = false;
  double sun_elevation_deg = 0;  // 0: drawn from the seed, 35..62
  bool afternoon = false;
  double wind_m_s = 2, cloud_cover = 0.4, cloud_shadow = 0.3, turbidity = 0.45, noise = 1;
  int samples = 2;
  bool masks = false, ground_picture = false, linear_light = false, horizon_only = false;
  double ground_gsd_m = 0.02;
  std::vector<int> only;
  std::string folder, command;
};

void render_flight(const FlightRequest& request);

}  // namespace render
