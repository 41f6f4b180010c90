#include "stages/glare/water/usual_look.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <opencv2/ml.hpp>
#include <vector>

namespace lookdown::glare {
namespace {

#include "stages/glare/water/usual_look.inc"

constexpr int kNearTiles = 5, kFarTiles = 13;

cv::Mat around(const cv::Mat& plane, int tiles) {
  cv::Mat mean;
  cv::blur(plane, mean, {tiles, tiles}, {-1, -1}, cv::BORDER_REFLECT_101);
  return mean;
}

// 1 where all slopes point along one line, 0 where they point anywhere.
cv::Mat coherence(const cv::Mat& gradients) {
  std::vector<cv::Mat> mean(3);
  cv::split(gradients, mean.data());
  cv::Mat along;
  cv::magnitude(mean[0] - mean[1], 2 * mean[2], along);
  return along / (mean[0] + mean[1] + 1);
}

cv::Mat spread(const cv::Mat& plane, const cv::Mat& mean) {
  cv::Mat out;
  cv::sqrt(cv::max(around(plane.mul(plane), kNearTiles) - mean.mul(mean), 0), out);
  return out;
}

// A perceptron with one hidden layer; its answers are -1..1 for water and for glitter.
struct Taught {
  cv::Mat mean, spread;
  cv::Ptr<cv::ml::ANN_MLP> perceptron = cv::ml::ANN_MLP::create();
  Taught() {
    const cv::FileStorage file(kUsualLook, cv::FileStorage::READ | cv::FileStorage::MEMORY);
    file["mean"] >> mean;
    file["spread"] >> spread;
    perceptron->read(file["perceptron"]);
  }
};

}  // namespace

cv::Mat tile_numbers(const GlitterTiles& tiles) {
  const std::vector<cv::Mat> own{tiles.luminance, tiles.red_green,   tiles.blue_green, tiles.contrast,
                                 tiles.neutral,   tiles.dark_spread, tiles.bright,     tiles.colour,
                                 tiles.middle,    tiles.clipped};
  std::vector<cv::Mat> planes = own;
  for (const cv::Mat& plane : own) planes.push_back(around(plane, kNearTiles));
  for (const cv::Mat& plane : own) planes.push_back(around(plane, kFarTiles));
  for (const std::size_t i : {0, 1, 2, 3, 6}) planes.push_back(spread(own[i], planes[own.size() + i]));
  planes.push_back(coherence(tiles.gradients));
  for (const int reach : {kNearTiles, kFarTiles}) planes.push_back(coherence(around(tiles.gradients, reach)));
  cv::Mat merged;
  cv::merge(planes, merged);
  return merged.reshape(1, static_cast<int>(merged.total()));
}

cv::Mat in_usual_spreads(const cv::Mat& numbers, const cv::Mat& mean, const cv::Mat& spread) {
  constexpr float kMost = 3;
  cv::Mat out(numbers.size(), CV_32FC1);
  const auto *of_mean = mean.ptr<float>(), *of_spread = spread.ptr<float>();
  for (int row = 0; row < numbers.rows; ++row) {
    const auto* in = numbers.ptr<float>(row);
    auto* to = out.ptr<float>(row);
    for (int k = 0; k < numbers.cols; ++k)
      to[k] = std::clamp((in[k] - of_mean[k]) / of_spread[k], -kMost, kMost);
  }
  return out;
}

cv::Mat UsualLook::evidence() const {
  constexpr double kOfUsual = 0.2;
  return cv::min(water, 0) + kOfUsual * cv::max(water, 0);
}

cv::Mat UsualLook::likeness() const {
  constexpr double kFrom = 1;
  return cv::min(cv::max(water - kFrom, 0), 1);
}

UsualLook usual_look(const WorkingPicture& picture) {
  constexpr double kLeastDoubt = 0.018;  // the odds of which are kMostOfUsualLook
  static const Taught taught;
  const cv::Size half = picture.calm_bgr.size();
  UsualLook look{glitter_tiles(picture.bgr, half), {}, {}};
  cv::Mat answer, odds;
  taught.perceptron->predict(in_usual_spreads(tile_numbers(look.tiles), taught.mean, taught.spread), answer);
  answer = cv::min(cv::max(0.5 * answer + 0.5, kLeastDoubt), 1 - kLeastDoubt);
  const int rows = look.tiles.luminance.rows;
  look.glitter = answer.col(1).clone().reshape(1, rows);
  // What glitters is water.
  const cv::Mat water = cv::Mat(cv::max(answer.col(0), answer.col(1))).reshape(1, rows);
  cv::log(water / (1 - water), odds);
  look.water = over_tiles(odds, half, cv::INTER_LINEAR);
  return look;
}

}  // namespace lookdown::glare
