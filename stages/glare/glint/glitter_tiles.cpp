#include "stages/glare/glint/glitter_tiles.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/glare/glint/sun_glint.h"
#include "stages/glare/picture/working_picture.h"

namespace lookdown::glare {
namespace {

constexpr float kGlitterFloor = 0.006f;  // linear light added before a logarithm is taken

using Light = std::array<float, 3>;  // blue, green, red

struct TilePixels {
  const cv::Mat &bgr, &luma;
  cv::Rect where;

  // Mean light of the pixels of these levels.
  [[nodiscard]] Light mean_light(int from, int to) const {
    Light sum{};
    int count = 0;
    const auto& linear = linear_of_level();
    for (int y = where.y; y < where.br().y; ++y) {
      const uchar* levels = luma.ptr<uchar>(y);
      const auto* pixels = bgr.ptr<cv::Vec3b>(y);
      for (int x = where.x; x < where.br().x; ++x) {
        if (levels[x] < from || levels[x] > to) continue;
        for (std::size_t c = 0; c < 3; ++c) sum[c] += linear[pixels[x][static_cast<int>(c)]];
        ++count;
      }
    }
    for (float& light : sum) light /= static_cast<float>(std::max(count, 1));
    return sum;
  }
};

class TileLevels {
 public:
  TileLevels(const cv::Mat& luma, const cv::Rect& where) : area_(where.area()) {
    for (int y = where.y; y < where.br().y; ++y) {
      const uchar* levels = luma.ptr<uchar>(y);
      for (int x = where.x; x < where.br().x; ++x) ++histogram_[levels[x]];
    }
  }
  // Below which a share of the pixels lies.
  [[nodiscard]] int at(double share) const {
    int level = 0;
    for (int below = histogram_[0]; level < 255 && below < share * area_;
         below += histogram_[static_cast<std::size_t>(level)])
      ++level;
    return level;
  }
  [[nodiscard]] float share_above(float light) const {
    int above = 0;
    for (std::size_t level = 255; level > 0 && linear_of_level()[level] > light; --level)
      above += histogram_[level];
    return static_cast<float>(above) / static_cast<float>(area_);
  }

 private:
  std::array<int, 256> histogram_{};
  int area_;
};

float luminance_of_light(const Light& light) {
  return 0.0722f * light[0] + 0.7152f * light[1] + 0.2126f * light[2];  // ITU-R BT.709
}

float log_light(float light) {
  return std::log(light + kGlitterFloor);
}

// Of each tile; they tell how strongly its light and dark lie along one direction, alone and with others.
cv::Mat gradients_of(const cv::Mat& luma, cv::Size grid) {
  constexpr int kSide = 2 * kGlitterTilePx;
  cv::Mat across, down, squares = cv::Mat::zeros(grid, CV_32FC3);
  cv::Sobel(luma, across, CV_16S, 1, 0);
  cv::Sobel(luma, down, CV_16S, 0, 1);
  for (int row = 0; row < grid.height; ++row)
    for (int column = 0; column < grid.width; ++column) {
      const cv::Rect tile =
          cv::Rect(column * kSide, row * kSide, kSide, kSide) & cv::Rect({0, 0}, luma.size());
      std::int64_t xx = 0, yy = 0, xy = 0;
      for (int y = tile.y; y < tile.br().y; ++y) {
        const auto *dx = across.ptr<std::int16_t>(y), *dy = down.ptr<std::int16_t>(y);
        int row_xx = 0, row_yy = 0, row_xy = 0;
        for (int x = tile.x; x < tile.br().x; ++x)
          row_xx += dx[x] * dx[x], row_yy += dy[x] * dy[x], row_xy += dx[x] * dy[x];
        xx += row_xx, yy += row_yy, xy += row_xy;
      }
      if (!tile.empty())
        squares.at<cv::Vec3f>(row, column) =
            cv::Vec3f(static_cast<float>(xx), static_cast<float>(yy), static_cast<float>(xy)) /
            static_cast<float>(tile.area());
    }
  return squares;
}

cv::Mat dense_glitter(const GlitterTiles& tiles) {
  // Chosen on rendered ponds and on real tiles of lakes, on which it marks glitter alone; a smaller window or
  // less of it lets in stones by the shore.
  constexpr double kContrast = 0.7, kNeutral = 0.8, kMostSpread = 0.7, kBright = 0.15, kColour = 0.3;
  constexpr int kWindowTiles = 7, kLeastTiles = 4;
  constexpr double kLeastShare = 0.65 * 255;
  const cv::Mat glitters = (tiles.contrast > kContrast) & (tiles.neutral > kNeutral) &
                           (tiles.dark_spread < kMostSpread) & (tiles.bright > kBright) &
                           (tiles.colour > kColour);
  cv::Mat share, labels, stats, centroids;
  cv::blur(glitters, share, {kWindowTiles, kWindowTiles}, {-1, -1}, cv::BORDER_REPLICATE);
  cv::Mat dense = share > kLeastShare;
  const int count = cv::connectedComponentsWithStats(dense, labels, stats, centroids, 4, CV_32S);
  for (int label = 1; label < count; ++label)
    if (stats.at<int>(label, cv::CC_STAT_AREA) < kLeastTiles) dense.setTo(0, labels == label);
  return dense;
}

}  // namespace

GlitterTiles glitter_tiles(const cv::Mat& bgr, cv::Size half) {
  constexpr double kDarkest = 0.05, kDark = 0.25, kMiddle = 0.5, kBright = 0.88;
  constexpr int kSide = 2 * kGlitterTilePx;
  const cv::Mat luma = luma_of(bgr);
  const cv::Size grid((half.width + kGlitterTilePx - 1) / kGlitterTilePx,
                      (half.height + kGlitterTilePx - 1) / kGlitterTilePx);
  GlitterTiles tiles;
  for (cv::Mat* plane :
       {&tiles.luminance, &tiles.red_green, &tiles.blue_green, &tiles.contrast, &tiles.neutral,
        &tiles.dark_spread, &tiles.bright, &tiles.colour, &tiles.middle, &tiles.clipped})
    *plane = cv::Mat::zeros(grid, CV_32FC1);
  for (int row = 0; row < grid.height; ++row)
    for (int column = 0; column < grid.width; ++column) {
      const cv::Rect where =
          cv::Rect(column * kSide, row * kSide, kSide, kSide) & cv::Rect({0, 0}, bgr.size());
      if (where.empty()) continue;
      const TilePixels pixels{bgr, luma, where};
      const TileLevels levels(luma, where);
      const int dark_level = levels.at(kDark);
      const Light dark = pixels.mean_light(0, dark_level),
                  bright = pixels.mean_light(levels.at(kBright), 255);
      const Light excess{bright[0] - dark[0], bright[1] - dark[1], bright[2] - dark[2]};
      const float dark_light = luminance_of_light(dark);
      const auto [least, most] = std::minmax_element(excess.begin(), excess.end());
      const auto [least_dark, most_dark] = std::minmax_element(dark.begin(), dark.end());
      tiles.luminance.at<float>(row, column) = log_light(dark_light);
      tiles.red_green.at<float>(row, column) = log_light(dark[2]) - log_light(dark[1]);
      tiles.blue_green.at<float>(row, column) = log_light(dark[0]) - log_light(dark[1]);
      tiles.contrast.at<float>(row, column) = log_light(luminance_of_light(bright)) - log_light(dark_light);
      tiles.neutral.at<float>(row, column) = *least / (*most + 1e-4f);
      tiles.colour.at<float>(row, column) = log_light(*most_dark) - log_light(*least_dark);
      const auto& linear = linear_of_level();
      tiles.dark_spread.at<float>(row, column) =
          log_light(linear[static_cast<std::size_t>(dark_level)]) -
          log_light(linear[static_cast<std::size_t>(levels.at(kDarkest))]);
      tiles.bright.at<float>(row, column) = levels.share_above(glare_threshold_over(dark_light));
      tiles.middle.at<float>(row, column) =
          log_light(linear[static_cast<std::size_t>(levels.at(kMiddle))]) - log_light(dark_light);
      tiles.clipped.at<float>(row, column) = levels.share_above(kClippedLight);
    }
  tiles.gradients = gradients_of(luma, grid);
  tiles.dense = dense_glitter(tiles);
  return tiles;
}

cv::Mat over_tiles(const cv::Mat& plane, cv::Size half, int interpolation) {
  cv::Mat wide;
  cv::resize(plane, wide, {plane.cols * kGlitterTilePx, plane.rows * kGlitterTilePx}, 0, 0, interpolation);
  return wide(cv::Rect({0, 0}, half)).clone();
}

}  // namespace lookdown::glare
