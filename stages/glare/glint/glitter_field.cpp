#include "stages/glare/glint/glitter_field.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::glare {
namespace {

constexpr int kTilePx = 8;  // half-size pixels: a few waves

// One number a tile each, CV_32FC1: the dark side's colour, as logarithms of linear light, and what is above
// it.
struct Tiles {
  cv::Mat luminance, red_green, blue_green;
  cv::Mat contrast;  // of the bright side over the dark one, a logarithm
  cv::Mat neutral;   // least of the channels' excess over the greatest
};

std::array<float, 3> mean_light(const cv::Mat& bgr, const cv::Rect& tile, const cv::Mat& luma, int from,
                                int to) {
  std::array<float, 3> sum{};
  int count = 0;
  const auto& linear = linear_of_level();
  for (int y = tile.y; y < tile.br().y; ++y)
    for (int x = tile.x; x < tile.br().x; ++x) {
      const int level = luma.at<uchar>(y, x);
      if (level < from || level > to) continue;
      const auto& pixel = bgr.at<cv::Vec3b>(y, x);
      for (std::size_t c = 0; c < 3; ++c) sum[c] += linear[pixel[static_cast<int>(c)]];
      ++count;
    }
  for (float& light : sum) light /= static_cast<float>(std::max(count, 1));
  return sum;
}

Tiles tiles_of(const cv::Mat& bgr, cv::Size half) {
  constexpr double kDark = 0.25, kBright = 0.88;
  constexpr float kFloor = 0.006f;
  const cv::Mat luma = luma_of(bgr);
  const cv::Size grid((half.width + kTilePx - 1) / kTilePx, (half.height + kTilePx - 1) / kTilePx);
  Tiles tiles;
  for (cv::Mat* plane :
       {&tiles.luminance, &tiles.red_green, &tiles.blue_green, &tiles.contrast, &tiles.neutral})
    *plane = cv::Mat::zeros(grid, CV_32FC1);
  constexpr int kSide = 2 * kTilePx;
  for (int row = 0; row < grid.height; ++row)
    for (int column = 0; column < grid.width; ++column) {
      const cv::Rect tile =
          cv::Rect(column * kSide, row * kSide, kSide, kSide) & cv::Rect({0, 0}, bgr.size());
      if (tile.empty()) continue;
      std::array<int, 256> histogram{};
      for (int y = tile.y; y < tile.br().y; ++y)
        for (int x = tile.x; x < tile.br().x; ++x) ++histogram[luma.at<uchar>(y, x)];
      const auto level_at = [&](double share) {
        int level = 0;
        for (int below = histogram[0]; level < 255 && below < share * tile.area();
             below += histogram[static_cast<std::size_t>(level)])
          ++level;
        return level;
      };
      const auto dark = mean_light(bgr, tile, luma, 0, level_at(kDark)),
                 bright = mean_light(bgr, tile, luma, level_at(kBright), 255);
      std::array<float, 3> log_dark{}, excess{};
      for (std::size_t c = 0; c < 3; ++c) {
        log_dark[c] = std::log(dark[c] + kFloor);
        excess[c] = bright[c] - dark[c];
      }
      const float dark_light = 0.0722f * dark[0] + 0.7152f * dark[1] + 0.2126f * dark[2],
                  bright_light = 0.0722f * bright[0] + 0.7152f * bright[1] + 0.2126f * bright[2];
      tiles.luminance.at<float>(row, column) = std::log(dark_light + kFloor);
      tiles.red_green.at<float>(row, column) = log_dark[2] - log_dark[1];
      tiles.blue_green.at<float>(row, column) = log_dark[0] - log_dark[1];
      tiles.contrast.at<float>(row, column) = std::log((bright_light + kFloor) / (dark_light + kFloor));
      tiles.neutral.at<float>(row, column) = *std::min_element(excess.begin(), excess.end()) /
                                             (*std::max_element(excess.begin(), excess.end()) + 1e-4f);
    }
  return tiles;
}

// Mean of `plane` over the tiles of `mask` around, and how far each tile is from it.
cv::Mat away_from(const cv::Mat& plane, const cv::Mat& weight) {
  constexpr double kReachTiles = 2.5;
  cv::Mat sum, weights;
  cv::GaussianBlur(plane.mul(weight), sum, {0, 0}, kReachTiles);
  cv::GaussianBlur(weight, weights, {0, 0}, kReachTiles);
  return cv::abs(plane - sum / (weights + 1e-6f));
}

cv::Mat share_of_tiles(const cv::Mat& mask, cv::Size grid) {
  cv::Mat padded, share;
  cv::copyMakeBorder(mask, padded, 0, grid.height * kTilePx - mask.rows, 0, grid.width * kTilePx - mask.cols,
                     cv::BORDER_REPLICATE);
  cv::resize(padded, share, grid, 0, 0, cv::INTER_AREA);
  return share;
}

// Where white covers a tile there is no dark side; what lies amid the field is of it.
void fill_holes(cv::Mat& field) {
  constexpr int kMostTiles = 60;
  cv::Mat labels, stats, centroids;
  const int count = cv::connectedComponentsWithStats(~field, labels, stats, centroids, 4, CV_32S);
  for (int label = 1; label < count; ++label)
    if (stats.at<int>(label, cv::CC_STAT_AREA) <= kMostTiles) field.setTo(255, labels == label);
}

}  // namespace

cv::Mat glitter_field(const WorkingPicture& picture, const cv::Mat& water, const cv::Mat& specks) {
  constexpr double kLeastContrast = 0.7, kLeastNeutral = 0.35, kMostLighter = 1.1, kMostColourOff = 0.35;
  constexpr int kMostSteps = 40, kBand = 5;
  if (cv::countNonZero(specks & water) == 0) return cv::Mat::zeros(water.size(), CV_8UC1);
  const Tiles tiles = tiles_of(picture.bgr, water.size());
  const cv::Size grid = tiles.contrast.size();
  const cv::Mat band = cv::getStructuringElement(cv::MORPH_RECT, {kBand, kBand});
  const cv::Mat wet = share_of_tiles(water, grid) > 127;
  cv::Mat glitters = (tiles.contrast > kLeastContrast) & (tiles.neutral > kLeastNeutral),
          field = wet & (share_of_tiles(specks, grid) > 100);
  cv::morphologyEx(glitters, glitters, cv::MORPH_OPEN, band);
  for (int step = 0; step < kMostSteps; ++step) {
    cv::Mat weight, near;
    cv::Mat(wet | field).convertTo(weight, CV_32FC1, 1 / 255.0);
    cv::dilate(field, near, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
    const cv::Mat grown = field | (near & glitters & (away_from(tiles.luminance, weight) < kMostLighter) &
                                   (away_from(tiles.red_green, weight) < kMostColourOff) &
                                   (away_from(tiles.blue_green, weight) < kMostColourOff));
    if (cv::countNonZero(grown) == cv::countNonZero(field)) break;
    field = grown;
  }
  cv::Mat mask;
  fill_holes(field);
  cv::resize(field, mask, {grid.width * kTilePx, grid.height * kTilePx}, 0, 0, cv::INTER_NEAREST);
  return mask(cv::Rect({0, 0}, water.size())).clone();
}

}  // namespace lookdown::glare
