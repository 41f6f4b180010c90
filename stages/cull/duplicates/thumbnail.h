// A compact picture of a frame, small enough to keep for every frame of a flight and good enough to tell
// whether two frames show the same ground from the same place.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

namespace lookdown::cull {

/// Bytes: columns, rows, then columns x rows luminances, then as many red-green and as many blue-yellow
/// values on a grid of half the size (rounded up). Long side 40.
[[nodiscard]] std::vector<std::uint8_t> make_thumbnail(const cv::Mat& bgr);

/// The pictures back: CV_32F. Empty when the bytes are not a signature.
struct Thumbnail {
  cv::Mat luminance, red_green, blue_yellow;
  cv::Mat detail;  ///< the luminance without what is smooth over the whole frame, as a lens's fall-off is
};
[[nodiscard]] std::optional<Thumbnail> read_thumbnail(const std::vector<std::uint8_t>&);

/// How the one frame lies on the other, as shares of the long side.
struct Likeness {
  double correlation = 0;  ///< -1..1 of the details where they overlap, after the best shift and turn
  double shift_share = 0;  ///< length of the shift over the long side
  double turn_deg = 0;
  double overlap_share = 0;  ///< of the frame's area
};
/// Searches shifts up to 15 % of the long side and turns up to 12 degrees; pictures that differ at half their
/// size already are compared no further.
[[nodiscard]] Likeness compare(const Thumbnail&, const Thumbnail&);

}  // namespace lookdown::cull
