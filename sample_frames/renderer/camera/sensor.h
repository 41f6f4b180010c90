// From linear light to the camera's JPEG pixels: lens faults, noise, colour filter mosaic, tone curve,
// sharpening.
#pragma once

#include <opencv2/core.hpp>

#include "camera/trajectory.h"

namespace render {

struct SensorOptions {
  double gain = 1;              // value 1 after gain = full scale
  double noise = 1;             // factor on read and shot noise
  double corner_blur_px = 0.8;  // extra Gaussian sigma at the corners
  double fringe = 4e-4;         // lateral colour: relative scale of red against blue
  double vignetting = 0.35;     // light lost at the corners
  double sharpening = 0.45;
};

// `light` (CV_32FC3, blue green red) after motion blur; returns CV_8UC3.
cv::Mat develop(const cv::Mat& light, const FramePlan& frame, const SensorOptions& options);

// The same light before noise, colour filter and curve: CV_16UC3, linear, 65535 = full scale.
cv::Mat light_on_sensor(const cv::Mat& light, const FramePlan& frame, const SensorOptions& options);

// Gain that sets the 80th percentile of the green light of a typical frame to a bright mid tone.
double metered_gain(const cv::Mat& light);

}  // namespace render
