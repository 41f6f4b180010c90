// What the marker segments before the first scan of a JPEG file say. ITU-T T.81 (1992), annex B.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "pipeline/imaging/partial_jpeg/huffman_table.h"

namespace lookdown {

/// Row-major place in an 8 x 8 block of each coefficient in coded order.
inline constexpr std::array<std::uint8_t, 64> kZigZag = {
    0,  1,  8,  16, 9,  2,  3,  10, 17, 24, 32, 25, 18, 11, 4,  5,  12, 19, 26, 33, 40, 48,
    41, 34, 27, 20, 13, 6,  7,  14, 21, 28, 35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23,
    30, 37, 44, 51, 58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63};

struct JpegComponent {
  int id = 0;
  int across = 1, down = 1;  ///< sampling factors: blocks in a minimum coded unit
  int quantisation = 0, dc_table = 0, ac_table = 0;
};

struct JpegHeaders {
  int width = 0, height = 0;
  int restart_interval = 0;  ///< minimum coded units between restart markers; 0: none
  int most_across = 1, most_down = 1;
  std::vector<JpegComponent> components;
  std::array<std::array<int, 64>, 4> quantisation{};  ///< row by row
  std::array<std::unique_ptr<HuffmanTable>, 4> dc, ac;
  std::size_t scan_begins = 0;

  [[nodiscard]] int mcu_columns() const { return (width + 8 * most_across - 1) / (8 * most_across); }
  [[nodiscard]] int mcu_rows() const { return (height + 8 * most_down - 1) / (8 * most_down); }
  [[nodiscard]] int blocks_of_mcu() const;
};

/// Empty for what is not coded sequentially by Huffman (SOF0, SOF1) with 8 bits in one component or in three
/// of one interleaved scan, the first of them luminance at full size; and for damaged segments.
[[nodiscard]] std::optional<JpegHeaders> read_jpeg_headers(std::span<const std::uint8_t> file);

}  // namespace lookdown
