#include "stages/cull/partial_jpeg.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <memory>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/cull/huffman_walk.h"

namespace lookdown::cull {
namespace {

using Bytes = std::span<const std::uint8_t>;

constexpr std::array<std::uint8_t, 64> kZigZag = {
    0,  1,  8,  16, 9,  2,  3,  10, 17, 24, 32, 25, 18, 11, 4,  5,  12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13, 6,  7,  14, 21, 28,
    35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51, 58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63};

struct Component {
  int id = 0, across = 1, down = 1, quantisation = 0, dc_table = 0, ac_table = 0;
  int predicted_dc = 0;
  cv::Mat means;  ///< CV_8UC1, one pixel a block, whole MCUs
};

struct Stream {
  int width = 0, height = 0, restart_interval = 0;
  int most_across = 1, most_down = 1;
  std::vector<Component> components;
  std::array<std::array<int, 64>, 4> quantisation{};
  std::array<std::unique_ptr<HuffmanTable>, 4> dc, ac;
  std::size_t scan_begins = 0;

  [[nodiscard]] int mcu_columns() const { return (width + 8 * most_across - 1) / (8 * most_across); }
  [[nodiscard]] int mcu_rows() const { return (height + 8 * most_down - 1) / (8 * most_down); }
};

int word_at(Bytes b, std::size_t at) { return b[at] << 8 | b[at + 1]; }

bool read_quantisation(Bytes segment, Stream& stream) {
  while (!segment.empty()) {
    const int wide = segment[0] >> 4, slot = segment[0] & 15;
    const std::size_t length = 1 + 64 * (wide ? 2 : 1);
    if (slot > 3 || wide > 1 || segment.size() < length) return false;
    for (int i = 0; i < 64; ++i)
      stream.quantisation[slot][kZigZag[i]] = wide ? word_at(segment, 1 + 2 * i) : segment[1 + i];
    segment = segment.subspan(length);
  }
  return true;
}

bool read_huffman(Bytes segment, Stream& stream) {
  while (segment.size() >= 17) {
    const int kind = segment[0] >> 4, slot = segment[0] & 15;
    std::array<std::uint8_t, 16> counts{};
    std::copy_n(segment.begin() + 1, 16, counts.begin());
    int total = 0;
    for (int c : counts) total += c;
    if (kind > 1 || slot > 3 || total > 256 || segment.size() < 17UL + total) return false;
    auto table = std::make_unique<HuffmanTable>();
    if (!table->build(counts, segment.data() + 17, total)) return false;
    (kind == 0 ? stream.dc : stream.ac)[slot] = std::move(table);
    segment = segment.subspan(17 + total);
  }
  return segment.empty();
}

bool read_frame_header(Bytes segment, Stream& stream) {
  if (segment.size() < 6 || segment[0] != 8 || !stream.components.empty()) return false;
  stream.height = word_at(segment, 1);
  stream.width = word_at(segment, 3);
  const std::size_t count = segment[5];
  if (stream.width == 0 || stream.height == 0 || (count != 1 && count != 3) || segment.size() < 6 + 3 * count) return false;
  for (std::size_t i = 0; i < count; ++i) {
    Component c;
    c.id = segment[6 + 3 * i];
    c.across = segment[7 + 3 * i] >> 4;
    c.down = segment[7 + 3 * i] & 15;
    c.quantisation = segment[8 + 3 * i];
    if (c.across < 1 || c.across > 4 || c.down < 1 || c.down > 4 || c.quantisation > 3) return false;
    stream.components.push_back(c);
  }
  // A single component is not interleaved: its blocks follow each other whatever its factors say (T.81, A.2.2).
  if (count == 1) stream.components[0].across = stream.components[0].down = 1;
  for (const Component& c : stream.components) {
    stream.most_across = std::max(stream.most_across, c.across);
    stream.most_down = std::max(stream.most_down, c.down);
  }
  const Component& luminance = stream.components[0];
  return luminance.across == stream.most_across && luminance.down == stream.most_down;
}

bool read_scan_header(Bytes segment, Stream& stream) {
  const std::size_t count = stream.components.size();
  if (count == 0 || segment.size() < 4 + 2 * count || segment[0] != count) return false;
  for (std::size_t i = 0; i < count; ++i) {
    Component& c = stream.components[i];
    if (segment[1 + 2 * i] != c.id) return false;
    c.dc_table = segment[2 + 2 * i] >> 4;
    c.ac_table = segment[2 + 2 * i] & 15;
    if (c.dc_table > 3 || c.ac_table > 3 || !stream.dc[c.dc_table] || !stream.ac[c.ac_table]) return false;
  }
  return true;
}

/// Reads marker segments up to the first scan.
std::optional<Stream> read_headers(Bytes file) {
  if (file.size() < 4 || word_at(file, 0) != 0xFFD8) return std::nullopt;
  Stream stream;
  std::size_t at = 2;
  while (at + 4 <= file.size()) {
    if (file[at] != 0xFF) return std::nullopt;
    const int marker = file[at + 1];
    if (marker == 0xFF) {
      ++at;
      continue;
    }
    const std::size_t length = word_at(file, at + 2);
    if (length < 2 || at + 2 + length > file.size()) return std::nullopt;
    const Bytes segment = file.subspan(at + 4, length - 2);
    at += 2 + length;
    bool good = true;
    switch (marker) {
      case 0xDB: good = read_quantisation(segment, stream); break;
      case 0xC4: good = read_huffman(segment, stream); break;
      case 0xC0:
      case 0xC1: good = read_frame_header(segment, stream); break;
      case 0xDD: good = segment.size() >= 2, stream.restart_interval = good ? word_at(segment, 0) : 0; break;
      case 0xDA:
        if (!read_scan_header(segment, stream)) return std::nullopt;
        stream.scan_begins = at;
        return stream;
      case 0xEE:  // Adobe: colour transform 0 with three components means RGB, whose first component is no luminance
        if (segment.size() >= 12 && segment[0] == 'A' && segment[1] == 'd' && segment[11] == 0) return std::nullopt;
        break;
      default:
        if ((marker >= 0xC2 && marker <= 0xCF && marker != 0xC8) || marker == 0xD9) return std::nullopt;
    }
    if (!good) return std::nullopt;
  }
  return std::nullopt;
}

/// Value of `size` extra bits (T.81, F.2.2.1, EXTEND).
int extended(BitReader& bits, int size) {
  if (size == 0) return 0;
  const int value = static_cast<int>(bits.take(size));
  return value < (1 << (size - 1)) ? value - (1 << size) + 1 : value;
}

// The walk visits half a million blocks; its reader must stay in registers, so the steps below are inlined and the rare
// ones work on a copy.
[[gnu::always_inline]] inline bool read_dc(BitReader& bits, const HuffmanTable& table, Component& component) {
  bits.fill();
  const int size = table.symbol(bits);
  if (size < 0 || size > 11) return false;
  // A damaged stream must not run the prediction out of the range of an int.
  component.predicted_dc = std::clamp(component.predicted_dc + extended(bits, size), -65536, 65536);
  return true;
}

[[gnu::always_inline]] inline bool step_over_ac(BitReader& bits, const HuffmanTable& table) {
  int last = 0;
  while (last < 63) {
    bits.fill();
    // 48 bits hold three strides, or one symbol of up to 16 + 15 bits.
    for (int turn = 0; turn < 3; ++turn) {
      const auto& stride = table.stride(bits.peek(HuffmanTable::kStrideBits));
      if (stride.bits == 0 || last + stride.advance >= 63) break;
      bits.skip(stride.bits);
      last += stride.advance;
      if (stride.end_of_block) return true;
    }
    bits.fill();
    const int symbol = table.symbol(bits);
    if (symbol < 0) return false;
    const int run = symbol >> 4, size = symbol & 15;
    bits.skip(size);
    if (size == 0 && run != 15) return true;
    last += run + 1;
  }
  return last == 63 || last == 79;
}

bool read_ac(BitReader& bits, const HuffmanTable& table, const std::array<int, 64>& quantisation, std::array<float, 64>& block) {
  for (int k = 1; k < 64; ++k) {
    bits.fill();
    const int symbol = table.symbol(bits);
    if (symbol < 0) return false;
    const int run = symbol >> 4, size = symbol & 15;
    if (size == 0) {
      if (run != 15) return true;
      k += 15;
      continue;
    }
    k += run;
    if (k > 63) return false;
    const int place = kZigZag[k];
    block[place] = static_cast<float>(extended(bits, size) * quantisation[place]);
  }
  return true;
}

/// Inverse cosine transform (T.81, A.3.3) as two products with the basis, written to 8 x 8 bytes.
void inverse_transform(const std::array<float, 64>& block, std::uint8_t* to, std::ptrdiff_t stride) {
  static const std::array<float, 64> basis = [] {
    std::array<float, 64> b{};
    for (int u = 0; u < 8; ++u)
      for (int x = 0; x < 8; ++x)
        b[u * 8 + x] = static_cast<float>((u == 0 ? std::sqrt(0.125) : 0.5) * std::cos((2 * x + 1) * u * std::numbers::pi / 16));
    return b;
  }();
  std::array<float, 64> half{};
  for (int v = 0; v < 8; ++v)
    for (int u = 0; u < 8; ++u) {
      const float c = block[v * 8 + u];
      if (c == 0) continue;
      for (int x = 0; x < 8; ++x) half[v * 8 + x] += c * basis[u * 8 + x];
    }
  for (int y = 0; y < 8; ++y) {
    std::array<float, 8> row;
    row.fill(128.5F);
    for (int v = 0; v < 8; ++v)
      for (int x = 0; x < 8; ++x) row[x] += basis[v * 8 + y] * half[v * 8 + x];
    for (int x = 0; x < 8; ++x) to[y * stride + x] = static_cast<std::uint8_t>(std::clamp(row[x], 0.0F, 255.0F));
  }
}

/// Which luminance blocks are wanted, and the plane they are written to.
struct WantedBlocks {
  cv::Mat flags;      ///< CV_8U, whole MCUs
  cv::Mat luminance;  ///< CV_8U, whole MCUs; only wanted blocks are written
};

[[gnu::noinline]] bool read_block(BitReader& bits, const HuffmanTable& ac, const std::array<int, 64>& quantisation, int dc, cv::Mat& luminance,
                                  int column, int row) {
  std::array<float, 64> block{};
  block[0] = static_cast<float>(dc);
  if (!read_ac(bits, ac, quantisation, block)) return false;
  inverse_transform(block, luminance.ptr<std::uint8_t>(row * 8) + column * 8, static_cast<std::ptrdiff_t>(luminance.step[0]));
  return true;
}

[[gnu::always_inline]] inline bool walk_block(BitReader& bits, const Stream& stream, Component& component, bool luminance, int column, int row,
                                              WantedBlocks& wanted) {
  if (!read_dc(bits, *stream.dc[component.dc_table], component)) return false;
  const auto& quantisation = stream.quantisation[component.quantisation];
  const int dc = component.predicted_dc * quantisation[0];
  component.means.at<std::uint8_t>(row, column) = static_cast<std::uint8_t>(std::clamp((dc >> 3) + 128, 0, 255));
  const HuffmanTable& ac = *stream.ac[component.ac_table];
  if (!luminance || !wanted.flags.at<std::uint8_t>(row, column)) return step_over_ac(bits, ac);
  BitReader copy = bits;
  if (!read_block(copy, ac, quantisation, dc, wanted.luminance, column, row)) return false;
  bits = copy;
  return true;
}

bool walk_scan(Bytes file, Stream& stream, WantedBlocks& wanted) {
  BitReader bits(file.data() + stream.scan_begins, file.data() + file.size());
  int until_restart = stream.restart_interval;
  for (int mcu_row = 0; mcu_row < stream.mcu_rows(); ++mcu_row) {
    for (int mcu_column = 0; mcu_column < stream.mcu_columns(); ++mcu_column) {
      if (stream.restart_interval > 0 && until_restart-- == 0) {
        if (!bits.restart()) return false;
        for (Component& c : stream.components) c.predicted_dc = 0;
        until_restart = stream.restart_interval - 1;
      }
      for (std::size_t index = 0; index < stream.components.size(); ++index) {
        const int across = stream.components[index].across, down = stream.components[index].down;
        for (int v = 0; v < down; ++v)
          for (int h = 0; h < across; ++h)
            if (!walk_block(bits, stream, stream.components[index], index == 0, mcu_column * across + h, mcu_row * down + v, wanted)) return false;
      }
    }
    if (bits.overdrawn()) return false;
  }
  return true;
}

cv::Mat overview_of(const Stream& stream) {
  const cv::Size size((stream.width + 7) / 8, (stream.height + 7) / 8);
  std::vector<cv::Mat> planes;
  for (const Component& c : stream.components) {
    cv::Mat plane = c.means;
    if (c.across != stream.most_across || c.down != stream.most_down)
      cv::resize(plane, plane, {plane.cols * stream.most_across / c.across, plane.rows * stream.most_down / c.down}, 0, 0, cv::INTER_NEAREST);
    planes.push_back(plane(cv::Rect({0, 0}, size)));
  }
  cv::Mat bgr;
  if (planes.size() == 1) {
    cv::cvtColor(planes[0], bgr, cv::COLOR_GRAY2BGR);
  } else {
    std::swap(planes[1], planes[2]);  // OpenCV orders Y, Cr, Cb
    cv::Mat ycc;
    cv::merge(planes, ycc);
    cv::cvtColor(ycc, bgr, cv::COLOR_YCrCb2BGR);
  }
  return bgr;
}

}  // namespace

std::optional<cv::Size> partial_decode_size(Bytes file) {
  const auto stream = read_headers(file);
  if (!stream) return std::nullopt;
  return cv::Size(stream->width, stream->height);
}

std::optional<PartialPicture> decode_parts(Bytes file, const std::vector<cv::Rect>& wanted_parts) {
  auto stream = read_headers(file);
  if (!stream) return std::nullopt;
  for (Component& c : stream->components)
    c.means = cv::Mat(stream->mcu_rows() * c.down, stream->mcu_columns() * c.across, CV_8U);
  const cv::Size blocks = stream->components[0].means.size();
  WantedBlocks wanted{cv::Mat::zeros(blocks, CV_8U), cv::Mat(blocks * 8, CV_8U)};
  for (const cv::Rect& part : wanted_parts) {
    const cv::Point first(part.x / 8, part.y / 8), last((part.x + part.width + 7) / 8, (part.y + part.height + 7) / 8);
    wanted.flags(cv::Rect(first, last)).setTo(1);
  }
  if (!walk_scan(file, *stream, wanted)) return std::nullopt;
  PartialPicture out;
  out.overview = overview_of(*stream);
  for (const cv::Rect& part : wanted_parts) out.parts.push_back(wanted.luminance(part).clone());
  return out;
}

}  // namespace lookdown::cull
