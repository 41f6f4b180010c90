// Camera raw through LibRaw. The frame as stored is the developed picture without its orientation applied,
// cut to the extent of the camera's own JPEG where the file holds one of full size, so that both show the
// same pixels. Built with or without the library: without it every raw file is a Fault that says so. Private
// to pipeline/.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>

#include "pipeline/base/result.h"
#include "pipeline/imaging/frame_reader.h"

namespace lookdown {

[[nodiscard]] bool raw_is_available();

/// Size and kind without developing; format is "RAW".
Result<FrameHeader> raw_header(const std::filesystem::path&);

/// The camera's own full-size JPEG out of the raw file, 8 bit BGR or luminance at 1/reduction; develops where
/// there is none.
Result<cv::Mat> raw_preview(const std::filesystem::path&, bool grey, int reduction);

/// Developed from the mosaic of the sensor: 16-bit linear light with the camera's white balance and a fixed
/// exposure (the same for all frames), in sRGB primaries, then written with the sRGB curve, as every stage
/// expects pixels to be. CV_16UC3 BGR at 1/reduction.
Result<cv::Mat> develop_raw(const std::filesystem::path&, int reduction);

}  // namespace lookdown
