#include "pipeline/imaging/partial_jpeg/jpeg_headers.h"

#include <algorithm>

namespace lookdown {
namespace {

using Bytes = std::span<const std::uint8_t>;

int word_at(Bytes b, std::size_t at) {
  return b[at] << 8 | b[at + 1];
}

bool read_quantisation(Bytes segment, JpegHeaders& headers) {
  while (!segment.empty()) {
    const int wide = segment[0] >> 4, slot = segment[0] & 15;
    const std::size_t length = 1 + 64 * (wide ? 2 : 1);
    if (slot > 3 || wide > 1 || segment.size() < length) return false;
    for (int i = 0; i < 64; ++i)
      headers.quantisation[slot][kZigZag[i]] = wide ? word_at(segment, 1 + 2 * i) : segment[1 + i];
    segment = segment.subspan(length);
  }
  return true;
}

bool read_huffman(Bytes segment, JpegHeaders& headers) {
  while (segment.size() >= 17) {
    const int kind = segment[0] >> 4, slot = segment[0] & 15;
    std::array<std::uint8_t, 16> counts{};
    std::copy_n(segment.begin() + 1, 16, counts.begin());
    int total = 0;
    for (int c : counts) total += c;
    if (kind > 1 || slot > 3 || total > 256 || segment.size() < 17UL + total) return false;
    auto table = std::make_unique<HuffmanTable>();
    if (!table->build(counts, segment.data() + 17, total)) return false;
    (kind == 0 ? headers.dc : headers.ac)[slot] = std::move(table);
    segment = segment.subspan(17 + total);
  }
  return segment.empty();
}

bool read_frame_header(Bytes segment, JpegHeaders& headers) {
  if (segment.size() < 6 || segment[0] != 8 || !headers.components.empty()) return false;
  headers.height = word_at(segment, 1);
  headers.width = word_at(segment, 3);
  const std::size_t count = segment[5];
  if (headers.width == 0 || headers.height == 0 || (count != 1 && count != 3) ||
      segment.size() < 6 + 3 * count)
    return false;
  for (std::size_t i = 0; i < count; ++i) {
    JpegComponent c;
    c.id = segment[6 + 3 * i];
    c.across = segment[7 + 3 * i] >> 4;
    c.down = segment[7 + 3 * i] & 15;
    c.quantisation = segment[8 + 3 * i];
    if (c.across < 1 || c.across > 4 || c.down < 1 || c.down > 4 || c.quantisation > 3) return false;
    headers.components.push_back(c);
  }
  // A single component is not interleaved: its blocks follow each other whatever its factors say (T.81,
  // A.2.2).
  if (count == 1) headers.components[0].across = headers.components[0].down = 1;
  for (const JpegComponent& c : headers.components) {
    headers.most_across = std::max(headers.most_across, c.across);
    headers.most_down = std::max(headers.most_down, c.down);
  }
  const JpegComponent& luminance = headers.components[0];
  return luminance.across == headers.most_across && luminance.down == headers.most_down;
}

bool read_scan_header(Bytes segment, JpegHeaders& headers) {
  const std::size_t count = headers.components.size();
  if (count == 0 || segment.size() < 4 + 2 * count || segment[0] != count) return false;
  for (std::size_t i = 0; i < count; ++i) {
    JpegComponent& c = headers.components[i];
    if (segment[1 + 2 * i] != c.id) return false;
    c.dc_table = segment[2 + 2 * i] >> 4;
    c.ac_table = segment[2 + 2 * i] & 15;
    if (c.dc_table > 3 || c.ac_table > 3 || !headers.dc[c.dc_table] || !headers.ac[c.ac_table]) return false;
  }
  return true;
}

}  // namespace

std::optional<JpegHeaders> read_jpeg_headers(std::span<const std::uint8_t> file) {
  if (file.size() < 4 || word_at(file, 0) != 0xFFD8) return std::nullopt;
  JpegHeaders headers;
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
      case 0xDB:
        good = read_quantisation(segment, headers);
        break;
      case 0xC4:
        good = read_huffman(segment, headers);
        break;
      case 0xC0:
      case 0xC1:
        good = read_frame_header(segment, headers);
        break;
      case 0xDD:
        good = segment.size() >= 2, headers.restart_interval = good ? word_at(segment, 0) : 0;
        break;
      case 0xDA:
        if (!read_scan_header(segment, headers)) return std::nullopt;
        headers.scan_begins = at;
        return headers;
      case 0xEE:  // Adobe: colour transform 0 with three components means RGB, whose first component is no
                  // luminance
        if (segment.size() >= 12 && segment[0] == 'A' && segment[1] == 'd' && segment[11] == 0)
          return std::nullopt;
        break;
      default:
        if ((marker >= 0xC2 && marker <= 0xCF && marker != 0xC8) || marker == 0xD9) return std::nullopt;
    }
    if (!good) return std::nullopt;
  }
  return std::nullopt;
}

int JpegHeaders::blocks_of_mcu() const {
  int blocks = 0;
  for (const JpegComponent& c : components) blocks += c.across * c.down;
  return blocks;
}

}  // namespace lookdown
