// What a surface and a mosaic are held against beside heights.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::bench {

/// Prints how far the step from roof to ground lies off the true eaves (truth.json of paint_flight in
/// `folder`, surface_truth.tif), square to them and in pixels of ground: on the whole and about each side's
/// own mean.
void score_eaves(const FlightRecord&, const std::filesystem::path& folder, const std::filesystem::path& out);

/// What the picture shows at one place of the mosaic.
struct ShownPlace {
  double displaced_px = 0;  ///< by heights that are off, pixels of ground
  double from_step_px = 0;  ///< of the true surface, pixels of ground
  int agreeing = 0;         ///< frames on the height there; 0: filled
  int seeing = 0;           ///< frames whose picture holds the place
};

/// Prints RMSE and share of the squared displacement by distance from steps, by agreeing and by seeing
/// frames.
void print_where_displaced(const std::vector<ShownPlace>&);

/// Distance of every place of surface_truth.tif from the nearest step of more than `step` units, in units;
/// CV_32FC1.
[[nodiscard]] cv::Mat distance_from_steps(const cv::Mat& truth, double step);

/// Prints the share of ground seen by a placed frame of the first group, kept or dropped for blur alone, that
/// mosaic_sources.tif in `out` shows.
void score_coverage(const FlightRecord&, const std::filesystem::path& out);

}  // namespace lookdown::bench
