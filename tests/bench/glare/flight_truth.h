// What render_flight's truth.json says of a flight, as far as scoring glare needs it.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "stages/glare/across/view_comparison.h"

namespace scoring {

struct TruthFrame {
  std::filesystem::path picture, water, glare, crust;
  std::filesystem::path visible_glare;  ///< empty where the flight was rendered before this mask existed
  bool nadir = false, sharp = false;
  lookdown::glare::PlacedCamera place;  ///< from the true pose, on a mosaic of `pixels_per_m`
};
struct TruthFlight {
  std::string name;
  double sun_elevation_deg = 0, sun_azimuth_deg = 0, mean_square_slope = 0;
  std::vector<TruthFrame> frames;  ///< those with masks
};
TruthFlight read_truth(const std::filesystem::path& folder);

}  // namespace scoring
