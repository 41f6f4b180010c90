// A small invented flight over an invented ground, made in memory and written as PNG: poses, gains and glare
// are known exactly.
#pragma once

#include <array>
#include <filesystem>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::test {

struct SmallFlight {
  FlightRecord record;
  cv::Mat ground;             ///< CV_8UC3 on the mosaic's grid
  std::filesystem::path out;  ///< folder for outputs, emptied with the object
  SmallFlight() = default;
  SmallFlight(SmallFlight&&) = default;
  SmallFlight& operator=(SmallFlight&&) = default;
  ~SmallFlight();
};

/// What a stage is given to run over a small flight: two threads, 1 GB, nothing remembered, silent.
struct SmallFlightRun {
  FrameReader reader;
  Scheduler scheduler{{2, 1'000'000'000}};
  Cache cache{""};
  Progress progress{false};
  RunContext context;
  explicit SmallFlightRun(const SmallFlight& flight)
      : context{flight.out, reader, scheduler, cache, progress} {}
  SmallFlightRun(const SmallFlightRun&) = delete;
  SmallFlightRun& operator=(const SmallFlightRun&) = delete;
};

struct SmallFlightPlan {
  int columns = 3, rows = 2;                      ///< frames
  std::vector<std::array<double, 3>> gains = {};  ///< linear, blue green red, by frame; missing: 1
  double vignetting = 0;                          ///< V(r) = exp(-vignetting r^2), r over half the diagonal
  double tilt_deg = 3;
  std::vector<cv::Rect> glare = {};  ///< white patches on the frame, by frame; with a mask file
};

/// Frames of 240 x 180 px, 10 mm a pixel on the ground, mosaic at the same.
[[nodiscard]] SmallFlight make_small_flight(const SmallFlightPlan&);

/// Draws a flat roof over the frames, `height_px` above the ground, without walls or shadow: canvas pixels
/// `place` as seen from straight above. Returns its colours on the mosaic's grid, where it would be drawn if
/// it did not lean.
cv::Mat put_roof(SmallFlight&, const cv::Rect2d& place, double height_px);

}  // namespace lookdown::test
