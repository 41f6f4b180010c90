// Pictures of which the truth is known, made unlike those that one renderer draws.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

namespace scoring {

struct VariedPicture {
  cv::Mat bgr;    ///< CV_8UC3
  cv::Mat truth;  ///< masks of the same size, a channel each, 255 = yes
};
/// A part of the picture, nearer or farther, in other light and colour, water and ground apart, now and then
/// with rougher ground, with white bars or in the shade of trees, softer, with noise, as another codec writes
/// it; everything drawn by `seed`. Channel 0 of `truth`: water; channel 1: mirrored light.
[[nodiscard]] VariedPicture varied(const cv::Mat& bgr, const cv::Mat& truth, std::uint32_t seed);

/// Pictures to learn from: frames of flights of `render_flight --masks` that are sharp and look down, scenes
/// that are painted here, and pictures of ground without water.
struct TrainingSources {
  std::vector<std::string> flights;
  std::uint32_t first_painting = 1, last_painting = 0;  ///< seeds
  std::vector<std::filesystem::path> dry_pictures;
};
struct TrainingPicture {
  cv::Mat bgr;    ///< CV_8UC3
  cv::Mat truth;  ///< CV_8UC3: water, light that outweighs what is below, light in plain sight; 255 = yes
};
/// Calls `use(picture, seed)` with each, `seed` counting them from 1.
void for_each_training_picture(const TrainingSources&,
                               const std::function<void(const TrainingPicture&, std::uint32_t)>& use);

}  // namespace scoring
