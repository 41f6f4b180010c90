// Small flights made on the spot: ground with detail at every scale, seen by frames that overlap.
#pragma once

#include <cstdint>
#include <filesystem>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>

namespace lookdown {

/// Random ground with detail at every scale, the same for the same seed.
inline cv::Mat ground(int width, int height, std::uint64_t seed) {
  cv::RNG rng(seed);
  cv::Mat sum(height, width, CV_32FC3, cv::Scalar::all(120));
  for (int cell = 2; cell < width; cell *= 2) {
    cv::Mat coarse(height / cell + 2, width / cell + 2, CV_32FC3), fine;
    rng.fill(coarse, cv::RNG::UNIFORM, -25, 25);
    cv::resize(coarse, fine, sum.size(), 0, 0, cv::INTER_CUBIC);
    sum += fine;
  }
  cv::Mat picture;
  sum.convertTo(picture, CV_8UC3);
  return picture;
}

inline void write_frame(const std::filesystem::path& file, const cv::Mat& picture) {
  cv::imwrite(file.string(), picture, {cv::IMWRITE_JPEG_QUALITY, 92});
}

/// `count` frames of 480 x 320 px in a row over one ground, each overlapping the one before by two thirds.
inline void write_row_of_frames(const std::filesystem::path& folder, int count, std::uint64_t seed) {
  std::filesystem::create_directories(folder);
  const cv::Mat whole = ground(480 + 160 * (count - 1), 320, seed);
  for (int i = 0; i < count; ++i)
    write_frame(folder / ("frame_" + std::to_string(i) + ".jpg"), whole(cv::Rect(160 * i, 0, 480, 320)));
}

}  // namespace lookdown
