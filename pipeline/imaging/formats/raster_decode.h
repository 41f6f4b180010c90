// Decoding of PNG and TIFF through GDAL, 8 and 16 bit, palettes and alpha taken care of. Private to
// pipeline/.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>

#include "pipeline/base/result.h"
#include "pipeline/imaging/frame_reader.h"

namespace lookdown {

/// Size and kind without decoding.
Result<FrameHeader> raster_header(const std::filesystem::path&);

/// BGR in the working space (see colour.h) at full size, CV_8UC3 or CV_16UC3; alpha is dropped, grey is
/// spread over three channels.
Result<cv::Mat> decode_raster(const std::filesystem::path&);

}  // namespace lookdown
