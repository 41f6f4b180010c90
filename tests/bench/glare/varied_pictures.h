// Pictures of which the truth is known, made unlike those that one renderer draws.
#pragma once

#include <cstdint>
#include <functional>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

namespace scoring {

struct VariedPicture {
  cv::Mat bgr;    ///< CV_8UC3
  cv::Mat truth;  ///< masks of the same size, a channel each, 255 = yes
};
/// A part of the picture, nearer or farther, in other light and colour, now and then with white bars or in
/// the shade of trees, softer, with noise, as another codec writes it; everything drawn by `seed`. Channel 1
/// of `truth`: mirrored light.
[[nodiscard]] VariedPicture varied(const cv::Mat& bgr, const cv::Mat& truth, std::uint32_t seed);

/// Pictures to learn from: frames of flights of `render_flight --masks` that are sharp and look down, and
/// scenes that are painted here.
struct TrainingPicture {
  cv::Mat bgr;    ///< CV_8UC3
  cv::Mat truth;  ///< CV_8UC3: water, light that outweighs what is below, light in plain sight; 255 = yes
  bool painted;
};
/// Calls `use(picture, seed)` with each, `seed` counting them from 1.
void for_each_training_picture(const std::vector<std::string>& flights, std::uint32_t first_painting,
                               std::uint32_t last_painting,
                               const std::function<void(const TrainingPicture&, std::uint32_t)>& use);

}  // namespace scoring
