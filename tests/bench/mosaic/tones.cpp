#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>
#include <vector>

#include "pipeline/imaging/colour/srgb.h"
#include "tests/bench/mosaic/against_truth.h"

namespace lookdown::bench {
namespace {

int gaps_in(const std::vector<std::int64_t>& count) {
  std::int64_t all = 0;
  for (const std::int64_t pixels : count) all += pixels;
  // The brightest level holds all that is brighter.
  std::size_t low = 0, high = count.size() - 2;
  while (low < high && count[low] < all / 1000) ++low;
  while (high > low && count[high] < all / 1000) --high;
  int gaps = 0;
  for (std::size_t level = low; level <= high; ++level) gaps += count[level] == 0;
  return gaps;
}

}  // namespace

Tones measure_tones(const std::filesystem::path& mosaic_file) {
  const cv::Mat mosaic = cv::imread(mosaic_file.string(), cv::IMREAD_UNCHANGED);
  if (mosaic.channels() != 4) throw std::runtime_error("mosaic files have an unexpected form");
  const double full = mosaic.depth() == CV_16U ? 65535 : 255;
  cv::Mat levels;
  mosaic.convertTo(levels, CV_64F, 1 / full);
  std::vector<std::int64_t> plain(256, 0), lifted(256, 0);
  const auto level_of = [](double coded) { return static_cast<std::size_t>(std::lround(255 * coded)); };
  for (int row = 0; row < levels.rows; ++row)
    for (int column = 0; column < levels.cols; ++column) {
      const auto& pixel = levels.at<cv::Vec4d>(row, column);
      if (pixel[3] < 1) continue;
      ++plain[level_of(pixel[1])];
      ++lifted[level_of(srgb_from_light(std::min(1.0, 8 * light_from_srgb(pixel[1]))))];
    }
  return {gaps_in(plain), gaps_in(lifted)};
}

}  // namespace lookdown::bench
