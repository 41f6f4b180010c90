// What lens, rig and sensor make of the light that falls on them.
#pragma once

#include <opencv2/core.hpp>

namespace painted {

/// Blur that grows from the middle to the corners, where it has the standard deviation `sigma_px`. `picture`:
/// CV_32FC3.
void soften_corners(cv::Mat& picture, double sigma_px);

/// A battered bracket with tape and screws, always in the same corner: a sixteenth of the frame. `light`:
/// CV_32FC3, 0 to 255.
void hold_rig_into(cv::Mat& light);

/// CV_8UC3 of light (CV_32FC3, 0 to 255) exposed by so many `stops` more, with grain of 2 code values; with
/// `photon_noise` above 0 the grain grows with the square root of the light.
cv::Mat develop(const cv::Mat& light, double stops, double photon_noise, unsigned seed);

}  // namespace painted
