// Processor time of the cull against a plain full-resolution grey decode of the same files, one thread, in one run.
//   cull_speed REPEATS JPEG...
// Files are read into memory by both; each file is measured by both in turn, REPEATS times, and the sums are compared.
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <iostream>
#include <opencv2/core.hpp>

#include "pipeline/frame_reader.h"
#include "stages/cull/cull.h"

namespace {

using namespace lookdown;
/// Processor time of this thread, so that other work on the machine does not count.
double processor_s() {
  timespec t{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

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
      double start = processor_s();
      const auto grey = reader.grey(source.path);
      decode_s += processor_s() - start;
      if (!grey) continue;
      start = processor_s();
      FramePixels pixels(reader, source);
      const Sharpness sharpness = cull::measure(pixels, {}, {});
      cull_s += processor_s() - start;
      megapixels += 1e-6 * source.width_px * source.height_px;
      files += sharpness.detail >= 0;
    }
  std::printf("%d files of %.1f megapixels on average: grey decode %.1f ms, cull %.1f ms a file, ratio %.3f\n", files, megapixels / files, 1e3 * decode_s / files,
              1e3 * cull_s / files, cull_s / decode_s);
  return 0;
}
