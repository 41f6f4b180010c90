// Parts of a JPEG file at full resolution without decoding the rest: the entropy-coded stream is walked once, coefficients outside the wanted
// parts are stepped over, and only the wanted blocks are transformed. ITU-T T.81 (1992).
#pragma once

#include <cstddef>
#include <cstdint>
#include <opencv2/core.hpp>
#include <optional>
#include <span>
#include <vector>

namespace lookdown::cull {

struct PartialPicture {
  cv::Mat overview;             ///< CV_8UC3 BGR of the block means: one pixel for 8 x 8, ceil(size / 8)
  std::vector<cv::Mat> parts;   ///< CV_8UC1 luminance of each wanted part, same order and size
};

/// Size of the picture when `decode_parts` can read the file: baseline or extended sequential Huffman coding (SOF0, SOF1), 8 bits, one
/// component or three in one interleaved scan. Empty for anything else (progressive, arithmetic, several scans, not a JPEG).
[[nodiscard]] std::optional<cv::Size> partial_decode_size(std::span<const std::uint8_t> file);

/// Decodes the wanted parts (inside the picture). Empty when the file cannot be read this way or its stream is damaged or too short: the
/// caller then decodes in full, which tells what is wrong.
[[nodiscard]] std::optional<PartialPicture> decode_parts(std::span<const std::uint8_t> file, const std::vector<cv::Rect>& wanted);

}  // namespace lookdown::cull
