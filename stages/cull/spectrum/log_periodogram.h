// Power spectrum of the tiles of a picture: where blur, noise and content leave different marks.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "stages/cull/spectrum/edge_spread.h"

namespace lookdown::cull {

/// Side of a spectral tile in pixels. Long enough that the nulls of a 40 px smear, 1/40 cycles/px apart, are
/// resolved through the window (two bins wide).
inline constexpr int kSpectralTile = 128, kSpectralColumns = kSpectralTile / 2 + 1;

/// One tile's spectrum.
struct TileSpectrum {
  cv::Rect where;           ///< in the picture
  cv::Mat log_periodogram;  ///< CV_32F, kSpectralTile rows (frequency y, wrapped) x kSpectralTile / 2 + 1
                            ///< columns (frequency x >= 0)
  double slow_power = 0;    ///< mean power at 0.018 to 0.04 cycles/px, grey levels squared a pixel
  double middle_power = 0;  ///< mean power at 0.04 to 0.12 cycles/px
  double fine_power = 0;    ///< mean power at 0.25 to 0.45 cycles/px
  double corner_power = 0;  ///< mean power above 0.55 cycles/px (toward the corners), where a lens passes
                            ///< next to nothing: noise
  EdgeHistogram edges;
  /// Share of the middle power that the fine detail holds beyond the noise: how sharp the tile looks.
  [[nodiscard]] double fine_share() const;
};

/// Natural logarithm of the windowed periodogram of one tile of an 8-bit grey picture. White noise of
/// variance v gives the power v at all frequencies. `tile`: CV_8UC1, kSpectralTile square; `where` it lies in
/// the frame.
[[nodiscard]] TileSpectrum tile_spectrum(const cv::Mat& tile, const cv::Rect& where);

/// Tiles laid over the picture with half a tile of overlap where they fit, at most `most` of them, evenly
/// spread.
[[nodiscard]] std::vector<cv::Rect> spectral_tiles(const cv::Size& picture, int most);

/// Mean of the log power of chosen tiles. The mean of logarithms takes each tile's contrast as an offset and
/// its content as an outlier of limited weight, so that one roof edge does not speak for the frame.
struct MeanSpectrum {
  cv::Mat log_periodogram;  ///< like TileSpectrum::log_periodogram, of the sharpest tiles; empty when no tile
                            ///< has enough detail
  cv::Mat wide_log_periodogram;  ///< of all tiles with detail: noisier content, but the nulls of a smear
                                 ///< stand out best where most tiles share them
  EdgeHistogram edges;           ///< of all tiles with detail
  int tiles = 0;                 ///< sharpest tiles used
  int tiles_with_detail = 0;
  double noise_power = 0;        ///< floor of the fine power over all tiles
  double middle_over_noise = 0;  ///< mean log ratio of middle power to the floor over the tiles used
};

/// Uses the tiles whose middle power stands above the floor (or whose slow power stands far above it: a heavy
/// blur leaves nothing else), and of these the sharpest: at most `largest_share`, and only those whose fine
/// share comes near that of the best. A scene holds soft parts too, and the sharp ones, be they few, tell the
/// blur.
[[nodiscard]] MeanSpectrum mean_spectrum(const std::vector<TileSpectrum>&, double largest_share = 0.35);
/// The same for some of a frame's tiles, whose noise floor is known from all of them.
[[nodiscard]] MeanSpectrum mean_spectrum(const std::vector<const TileSpectrum*>&, double noise_power,
                                         double largest_share);

}  // namespace lookdown::cull
