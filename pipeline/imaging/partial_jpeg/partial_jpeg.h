// Parts of a JPEG file at full resolution without decoding the rest: the entropy-coded stream is walked once
// to learn where its blocks begin, and only the wanted ones are transformed. ITU-T T.81 (1992).
#pragma once

#include <cstddef>
#include <cstdint>
#include <opencv2/core.hpp>
#include <optional>
#include <span>

#include "pipeline/imaging/partial_jpeg/jpeg_headers.h"
#include "pipeline/imaging/partial_jpeg/scan_bits.h"
#include "pipeline/imaging/partial_jpeg/scan_walk.h"

namespace lookdown {

class PartialJpeg {
 public:
  /// Baseline or extended sequential Huffman coding (SOF0, SOF1), 8 bits, one component or three in one
  /// interleaved scan. Empty for anything else (progressive, arithmetic, several scans, not a JPEG) and when
  /// the stream is damaged or too short: a full decode then tells what is wrong.
  [[nodiscard]] static std::optional<PartialJpeg> open(std::span<const std::uint8_t> file);

  [[nodiscard]] cv::Size size() const { return {headers_.width, headers_.height}; }
  /// CV_8UC3 BGR of the block means: one pixel for 8 x 8, ceil(size / 8).
  [[nodiscard]] cv::Mat overview() const;
  /// CV_8UC1 luminance of a part inside the picture; empty when the stream is damaged there.
  [[nodiscard]] cv::Mat luminance(const cv::Rect& part) const;

 private:
  PartialJpeg(JpegHeaders, ScanBits, ScanWalk);

  JpegHeaders headers_;
  ScanBits bits_;
  ScanWalk walk_;
  std::vector<cv::Mat> dc_;  ///< quantised DC coefficients of each component: CV_16S, one pixel a block,
                             ///< whole minimum coded units
};

}  // namespace lookdown
