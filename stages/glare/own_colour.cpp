#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {
namespace {

constexpr int kTilePx = 32;

struct Tiles {
  cv::Mat colour;  // CV_32FC3, times weight
  cv::Mat weight;  // CV_32FC1
};

// The darkest third of the water pixels of each tile.
Tiles dark_side(const WorkingPicture& picture, const cv::Mat& water) {
  const int columns = (water.cols + kTilePx - 1) / kTilePx, rows = (water.rows + kTilePx - 1) / kTilePx;
  Tiles tiles{cv::Mat::zeros(rows, columns, CV_32FC3), cv::Mat::zeros(rows, columns, CV_32FC1)};
  std::vector<std::pair<float, cv::Point>> seen;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const cv::Rect tile = cv::Rect(column * kTilePx, row * kTilePx, kTilePx, kTilePx) & cv::Rect({0, 0}, water.size());
      seen.clear();
      float sure = 0;
      for (int y = tile.y; y < tile.br().y; y += 2)
        for (int x = tile.x; x < tile.br().x; x += 2)
          if (const float chance = water.at<float>(y, x); chance > 0.25f) {
            seen.emplace_back(picture.light.at<float>(y, x), cv::Point(x, y));
            sure += chance;
          }
      if (seen.size() < 12) continue;
      const auto third = seen.begin() + static_cast<long>(seen.size() / 3);
      std::nth_element(seen.begin(), third, seen.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
      cv::Vec3f sum(0, 0, 0);
      for (auto it = seen.begin(); it <= third; ++it) sum += picture.linear.at<cv::Vec3f>(it->second);
      const float count = static_cast<float>(third - seen.begin() + 1);
      // Tiles full of glare know little of what lies below: the darker a tile, the more its neighbours borrow from it.
      const float light = third->first;
      const float weight = sure / (0.02f + light);
      tiles.colour.at<cv::Vec3f>(row, column) = sum * (weight / count);
      tiles.weight.at<float>(row, column) = weight;
    }
  return tiles;
}

}  // namespace

cv::Mat own_colour(const WorkingPicture& picture, const cv::Mat& water) {
  const Tiles tiles = dark_side(picture, water);
  cv::Mat near_colour, near_weight, far_colour, far_weight;
  cv::GaussianBlur(tiles.colour, near_colour, {0, 0}, 1.5);
  cv::GaussianBlur(tiles.weight, near_weight, {0, 0}, 1.5);
  cv::GaussianBlur(tiles.colour, far_colour, {0, 0}, 6);
  cv::GaussianBlur(tiles.weight, far_weight, {0, 0}, 6);
  cv::Mat colour = cv::Mat::zeros(tiles.weight.size(), CV_32FC3);
  for (int row = 0; row < colour.rows; ++row)
    for (int column = 0; column < colour.cols; ++column) {
      const float far = far_weight.at<float>(row, column), near = near_weight.at<float>(row, column);
      if (far <= 1e-3f) continue;
      const cv::Vec3f wide = far_colour.at<cv::Vec3f>(row, column) * (1 / far);
      const cv::Vec3f local = near > 1e-3f ? cv::Vec3f(near_colour.at<cv::Vec3f>(row, column) * (1 / near)) : wide;
      // The water's colour drifts slowly; a place brighter than its wide surroundings is brighter by what it mirrors.
      colour.at<cv::Vec3f>(row, column) = local[1] < 1.15f * wide[1] ? local : wide * (1.15f);
    }
  cv::Mat full;
  cv::resize(colour, full, water.size(), 0, 0, cv::INTER_LINEAR);
  return full;
}

}  // namespace lookdown::glare
