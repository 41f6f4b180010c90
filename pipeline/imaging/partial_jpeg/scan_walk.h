// Where every block of a JPEG scan begins and what its DC coefficient is, without decoding the rest.
//
// A Huffman-coded stream must be read from its beginning, and each code waits for the one before it. But such
// streams synchronise themselves: a reader set down anywhere soon falls into step with the true codes (Klein
// & Wiseman, The Computer Journal 46:487, 2003). So several readers start at places spread over the stream
// and run side by side in one thread, which keeps the processor busy while each waits for its next code. The
// work of a later reader is taken only from where the one before it arrives at the same bit at the beginning
// of the same kind of block: from there on both must read the same. A reader that never falls into step is
// left out, and the one before reads on in its place.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "pipeline/imaging/partial_jpeg/jpeg_headers.h"
#include "pipeline/imaging/partial_jpeg/scan_bits.h"

namespace lookdown {

class ScanWalk {
 public:
  /// Empty when the stream is damaged or too short.
  [[nodiscard]] static std::optional<ScanWalk> over(const JpegHeaders&, const ScanBits&);

  struct Block {
    std::uint64_t word;
    [[nodiscard]] std::uint64_t first_bit() const { return word >> 16; }
    [[nodiscard]] int dc_difference() const { return static_cast<std::int16_t>(word & 0xFFFF); }
  };
  /// Blocks in coded order.
  [[nodiscard]] Block block(std::size_t index) const {
    std::size_t piece = pieces_.size() - 1;
    while (pieces_[piece].first > index) --piece;
    return pieces_[piece].blocks[index - pieces_[piece].first];
  }

  /// Reads one block after the other.
  class Cursor {
   public:
    explicit Cursor(const ScanWalk& walk) : walk_(walk) { enter(0); }
    [[nodiscard]] Block next() {
      if (at_ == end_) enter(piece_ + 1);
      return *at_++;
    }

   private:
    void enter(std::size_t piece) {
      piece_ = piece;
      at_ = walk_.pieces_[piece].blocks;
      end_ = piece + 1 < walk_.pieces_.size()
                 ? at_ + (walk_.pieces_[piece + 1].first - walk_.pieces_[piece].first)
                 : nullptr;
      if (at_ == end_) enter(piece + 1);
    }
    const ScanWalk& walk_;
    std::size_t piece_ = 0;
    const Block *at_ = nullptr, *end_ = nullptr;
  };
  [[nodiscard]] Cursor begin() const { return Cursor(*this); }

 private:
  struct Piece {
    std::size_t first;
    const Block* blocks;
  };
  std::vector<Piece> pieces_;
  std::unique_ptr<Block[]> storage_;
};

}  // namespace lookdown
