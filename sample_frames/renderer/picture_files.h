// JPEG files with the Exif record that a camera would write (no position).
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>

#include "camera/camera.h"
#include "camera/trajectory.h"
#include "light/sun.h"

namespace render {

void write_frame(const std::filesystem::path& path, const cv::Mat& picture, const Camera& camera,
                 const FramePlan& frame, const PlaceAndTime& start);

}  // namespace render
