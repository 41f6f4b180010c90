// place_growth FOLDER OUT [--threads T] [N ...]: processor time and peak memory of placing the first N frames
// of a flight (50 100 200 400 unless said), the exponent of growth between the smallest and the largest, and
// the same against decoding every frame in colour and finding SIFT spots at 1.5 megapixels. Nothing is taken
// from a cache.
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <opencv2/features2d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "bench_placement.h"

namespace {

using namespace lookdown;

void decode_and_find_spots(const std::filesystem::path& file) {
  cv::Mat picture = cv::imread(file.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION), grey;
  const double share = std::sqrt(1.5e6 / double(picture.total()));
  if (share < 1) cv::resize(picture, picture, {}, share, share, cv::INTER_AREA);
  cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
  std::vector<cv::KeyPoint> spots;
  cv::Mat descriptors;
  cv::SIFT::create()->detectAndCompute(grey, cv::noArray(), spots, descriptors);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) return 2;
  const std::filesystem::path folder = argv[1], out = argv[2];
  int threads = 0;
  std::vector<std::size_t> counts;
  for (int i = 3; i < argc; ++i) {
    if (std::string(argv[i]) == "--threads") {
      threads = std::atoi(argv[++i]);
    } else {
      counts.push_back(std::size_t(std::atoi(argv[i])));
    }
  }
  if (counts.empty()) counts = {50, 100, 200, 400};
  std::printf("%6s %8s %8s %8s %10s %12s\n", "frames", "wall s", "cpu s", "peak MB", "cpu/frame",
              "of decode+SIFT");
  std::vector<std::pair<double, double>> measured;
  const auto few =
      bench::frames_of(folder, 0, std::max<std::size_t>(1, bench::frames_of(folder).size() / 10));
  const auto reference = bench::cost_of([&] {
    cv::setNumThreads(threads > 0 ? threads : -1);
    for (const auto& file : few) decode_and_find_spots(file);
  });
  const double reference_s = reference.cpu_s / double(few.size());
  for (const std::size_t n : counts) {
    const auto files = bench::frames_of(folder, n);
    if (files.size() < n) break;
    std::filesystem::remove_all(out);
    const auto cost =
        bench::cost_of([&] { bench::place_frames(files, folder / "truth.json", out, {}, threads); });
    std::printf("%6zu %8.1f %8.1f %8.0f %10.2f %12.2f\n", n, cost.wall_s, cost.cpu_s, cost.peak_mb,
                cost.cpu_s / double(n), cost.cpu_s / double(n) / reference_s);
    std::fflush(stdout);
    measured.emplace_back(std::log(double(n)), std::log(cost.cpu_s));
  }
  if (measured.size() > 1)
    std::printf("time grows as N^%.2f\n", (measured.back().second - measured.front().second) /
                                              (measured.back().first - measured.front().first));
}
