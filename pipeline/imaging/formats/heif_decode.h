// Decoding of HEIF (HEIC) and AVIF through libheif. Built with or without the library: without it
// every file is a Fault that says so. Private to pipeline/.
#pragma once

#include <cstdint>
#include <opencv2/core/mat.hpp>
#include <span>
#include <string>

#include "pipeline/base/result.h"
#include "pipeline/imaging/frame_reader.h"

namespace lookdown {

/// True when the bytes begin as an HEIF or AVIF still picture does (ISO/IEC 23008-12: an `ftyp` box with such
/// a brand).
[[nodiscard]] bool is_heif(std::span<const std::uint8_t> bytes);

/// Size and kind without decoding. The size is after the rotation and mirroring that the file itself orders,
/// which are part of its decoding; Exif's orientation is not to be applied to such a frame.
Result<FrameHeader> heif_header(std::span<const std::uint8_t> bytes, const std::string& file);

/// BGR in the working space (see colour.h) at full size, CV_8UC3, or CV_16UC3 for files of more than 8 bits;
/// alpha is dropped.
Result<cv::Mat> decode_heif(std::span<const std::uint8_t> bytes, const std::string& file);

}  // namespace lookdown
