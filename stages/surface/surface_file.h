// surface.tif: a GeoTIFF of two bands, heights and how many frames agree on each.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>

#include "pipeline/record/flight_record.h"

namespace lookdown::surface {

/// `heights` CV_32FC1 and `agreeing` CV_8UC1 of one size, nodes `step_px` mosaic pixels apart. Heights are
/// written above the plane z = 0, in metres where the scale is known. Throws WriteError.
void write_surface(const std::filesystem::path&, const cv::Mat& heights, const cv::Mat& agreeing,
                   double step_px, const FlightPlacement&);

/// Throws std::runtime_error when the file cannot be read or is none of ours.
void read_surface(const std::filesystem::path&, cv::Mat& heights, cv::Mat& agreeing);

}  // namespace lookdown::surface
