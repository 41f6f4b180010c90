// One block of a JPEG file: its coefficients from the bits, its pixels from the coefficients.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "pipeline/imaging/partial_jpeg/huffman_table.h"
#include "pipeline/imaging/partial_jpeg/scan_bits.h"

namespace lookdown {

struct BlockCoefficients {
  std::array<float, 64> values;  ///< row by row (vertical frequency first), dequantised
  int rows, columns;             ///< beyond which all are zero
};

/// Reads a block whose first bit is given. `dc`: the quantised DC coefficient, known from the walk over the
/// stream. False where the stream is damaged.
[[nodiscard]] bool read_block(const ScanBits&, std::uint64_t first_bit, const HuffmanTable& dc_table,
                              const HuffmanTable& ac_table, const std::array<int, 64>& quantisation, int dc,
                              BlockCoefficients&);

/// Inverse cosine transform (T.81, A.3.3), shifted by 128 and rounded, to 8 x 8 bytes.
void inverse_transform(const BlockCoefficients&, std::uint8_t* to, std::ptrdiff_t stride);

}  // namespace lookdown
