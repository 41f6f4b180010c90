// Time of the cull against a plain full-resolution grey decode of the same files, one thread, in one run.
//   cull_speed REPEATS JPEG...
// Files are read into memory by both; each file is measured by both in turn, REPEATS times, and the sums are compared.
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <opencv2/core.hpp>

#include "pipeline/frame_reader.h"
#include "stages/cull/cull.h"

namespace {

using namespace lookdown;
using Clock = std::chrono::steady_clock;

double seconds_since(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) {
    std::cerr << "cull_speed REPEATS JPEG...\n";
    return 2;
  }
  cv::setNumThreads(1);
  const int repeats = std::max(1, std::atoi(argv[1]));
  const FrameReader reader;
  double decode_s = 0, cull_s = 0, megapixels = 0;
  int files = 0;
  for (int repeat = 0; repeat < repeats; ++repeat)
    for (int i = 2; i < argc; ++i) {
      FrameSource source;
      source.file = source.path = argv[i];
      const auto header = reader.header(source.path);
      if (!header) continue;
      source.width_px = header->width_px;
      source.height_px = header->height_px;
      source.format = header->format;
      auto start = Clock::now();
      const auto grey = reader.grey(source.path);
      decode_s += seconds_since(start);
      if (!grey) continue;
      start = Clock::now();
      FramePixels pixels(reader, source);
      const Sharpness sharpness = cull::measure(pixels, {}, {});
      cull_s += seconds_since(start);
      megapixels += 1e-6 * source.width_px * source.height_px;
      files += sharpness.detail >= 0;
    }
  std::printf("%d files of %.1f megapixels on average: grey decode %.1f ms, cull %.1f ms a file, ratio %.3f\n", files, megapixels / files, 1e3 * decode_s / files,
              1e3 * cull_s / files, cull_s / decode_s);
  return 0;
}
