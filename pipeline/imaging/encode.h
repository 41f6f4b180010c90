// Pictures as bytes of a file. Throws std::runtime_error that says which picture could not be encoded: an
// encoder that fails leaves nothing behind, and an empty file must never pass for a picture.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace cv {
class Mat;
}

namespace lookdown {

/// How hard a PNG is squeezed; the pixels are the same. `quick`: run lengths alone, for masks and what lies
/// in the cache. `small`: for what travels.
enum class PngEffort { quick, small };

/// CV_8UC1, CV_8UC3 or CV_8UC4 (blue, green, red, alpha), or the same of 16 bits.
[[nodiscard]] std::vector<std::uint8_t> encode_png(const cv::Mat& picture, PngEffort);
/// CV_8UC1 or CV_8UC3 (blue, green, red); quality 1..100. `optimised`: Huffman tables of its own, some
/// percent smaller and slower.
[[nodiscard]] std::vector<std::uint8_t> encode_jpeg(const cv::Mat& picture, int quality,
                                                    bool optimised = false);
/// By the ending of a file name: ".jpg" at `quality`, ".png", ".tif".
[[nodiscard]] std::vector<std::uint8_t> encode_picture(const std::string& ending, const cv::Mat& picture,
                                                       int quality);

/// For writers and records that take text.
[[nodiscard]] inline std::string as_text(const std::vector<std::uint8_t>& bytes) {
  return {bytes.begin(), bytes.end()};
}

}  // namespace lookdown
