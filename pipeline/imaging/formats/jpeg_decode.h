// Decoding of JPEG bytes with libjpeg-turbo: reduced sizes straight from the coefficients, luminance alone
// where that is enough, and a clear word when the file ends early. Private to pipeline/.
#pragma once

#include <cstdint>
#include <opencv2/core/mat.hpp>
#include <span>
#include <string>

#include "pipeline/base/result.h"
#include "pipeline/imaging/frame_reader.h"

namespace lookdown {

/// True when the bytes begin as a JPEG file does.
bool is_jpeg(std::span<const std::uint8_t> bytes);

/// Size and kind without decoding.
Result<FrameHeader> jpeg_header(std::span<const std::uint8_t> bytes, const std::string& file);

/// CV_8UC3 (BGR in the working space, see colour.h) or CV_8UC1 (luminance as coded) at 1/reduction, reduction
/// one of 1, 2, 4, 8. Truncated or corrupt data, CMYK and 12-bit files are a Fault.
Result<cv::Mat> decode_jpeg(std::span<const std::uint8_t> bytes, bool grey, int reduction,
                            const std::string& file);

}  // namespace lookdown
