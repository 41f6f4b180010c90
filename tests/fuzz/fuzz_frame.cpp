// A frame's header and, where it promises a small picture, its pixels: a fault or a picture of the promised
// size, nothing else.
#include <cstdlib>
#include <opencv2/core.hpp>

#include "memory_file.h"
#include "pipeline/imaging/frame_reader.h"

int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  using namespace lookdown;
  const MemoryFile file(bytes, size);
  const FrameReader reader({.max_pixels = 1'000'000, .max_file_bytes = 10'000'000});
  const Result<FrameHeader> header = reader.header(file.path());
  if (!header) return 0;
  if (header->width_px <= 0 || header->height_px <= 0) std::abort();
  if (std::int64_t{header->width_px} * header->height_px > 65'536) return 0;
  for (const int reduction : {1, 8}) {
    const Result<cv::Mat> picture = reader.bgr(file.path(), reduction);
    if (picture && picture->cols != reduced_length(header->width_px, reduction)) std::abort();
    const Result<cv::Mat> grey = reader.grey(file.path(), reduction);
    if (grey && grey->type() != CV_8UC1) std::abort();
  }
  return 0;
}
