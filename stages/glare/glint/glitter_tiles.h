// A picture in tiles of a few waves, each with a dark and a bright side: where glints are so many that they
// run into each other, no single speck can be told, but the two sides can. Private to the stage.
#pragma once

#include <opencv2/core.hpp>

namespace lookdown::glare {

/// Side of the square tiles, in pixels of half the working size.
inline constexpr int kGlitterTilePx = 8;
/// Linear light from which on a pixel is as good as white.
inline constexpr float kClippedLight = 0.89f;

/// One number a tile each, CV_32FC1. The dark side is the darkest quarter of the tile, the bright side its
/// brightest eighth; colours are natural logarithms of linear light.
struct GlitterTiles {
  cv::Mat luminance, red_green, blue_green;  ///< of the dark side
  cv::Mat contrast;                          ///< of the bright side over the dark one, a logarithm
  cv::Mat neutral;      ///< least of the channels' excess of the bright side over the greatest, up to 1
  cv::Mat dark_spread;  ///< how uneven the dark side itself is, a logarithm
  cv::Mat bright;       ///< share of the tile that is glare over its dark side
  cv::Mat colour;       ///< how coloured the dark side is: greatest over least channel, a logarithm
  cv::Mat middle;       ///< the middle level over the dark side, a logarithm
  cv::Mat clipped;      ///< share of the tile that is as good as white
  cv::Mat gradients;    ///< CV_32FC3: mean squares of the stored luma's slope in x, in y, and their product
  /// CV_8UC1, 255 amid dense glitter, whatever is known of the water: many bright places of their source's
  /// colour over a dark side that is even and has a colour of its own, in a region broader than stones, crust
  /// and foam lie along water.
  cv::Mat dense;
};
/// `bgr`: CV_8UC3, the working picture; `half`: half its size.
[[nodiscard]] GlitterTiles glitter_tiles(const cv::Mat& bgr, cv::Size half);

/// A plane of tiles stretched over the picture of half the working size.
[[nodiscard]] cv::Mat over_tiles(const cv::Mat& plane, cv::Size half, int interpolation);

}  // namespace lookdown::glare
