// What the placement benchmarks share: inspect and place over a folder, and what a piece of work costs in a
// process of its own.
#pragma once

#include <filesystem>
#include <functional>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/place/place.h"

namespace lookdown::bench {

/// Frames of a folder in the order of their names, truth pictures left out; every `every`-th, at most `first`
/// (0: all).
std::vector<std::filesystem::path> frames_of(const std::filesystem::path& folder, std::size_t first = 0,
                                             std::size_t every = 1);

/// Runs inspect and place alone and writes OUT/placement.json. With a truth file the views (horizon, launch)
/// and the blurred frames that other stages would find are taken from it.
FlightRecord place_frames(const std::vector<std::filesystem::path>& files,
                          const std::filesystem::path& truth_json, const std::filesystem::path& out,
                          const place::Options&, int threads);

struct Cost {
  bool ended_well = false;
  double wall_s = 0;
  double cpu_s = 0;  ///< all threads, user and system
  double peak_mb = 0;
};

/// Does the work in a child process, so that its peak memory is its own.
Cost cost_of(const std::function<void()>& work);

}  // namespace lookdown::bench
