#include "stages/cull/spectrum/log_periodogram.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "pipeline/base/robust_statistics.h"
#include "stages/cull/spectrum/tile_transform.h"

namespace lookdown::cull {
namespace {

// A tile counts when its middle frequencies stand this far above the floor and above what 8-bit rounding and
// coding leave.
constexpr double kDetailOverNoise = 6;
constexpr double kLeastMiddlePower = 3;
// Contrast of real things at slow frequencies, for frames so blurred that no more is left. Shading of still
// water and sky stays below it.
constexpr double kLeastSlowPower = 400;
// Keeps the logarithm finite; a tenth of the power of rounding to whole grey levels (1/12).
constexpr float kLeastPower = 0.008F;
constexpr double kLeastNoise = 0.3;  // variance: rounding and coding
// Tiles that have this share of the fine share of the best ones (the mean of kBest) count as equally sharp.
constexpr double kNearlyAsSharp = 0.35;
constexpr std::size_t kBest = 4;
constexpr std::size_t kLeastTiles = 6;

/// Hann window, scaled so that the mean of its square is one: white noise keeps its power.
const cv::Mat& window() {
  static const cv::Mat taper = [] {
    cv::Mat line(1, kSpectralTile, CV_32F);
    for (int i = 0; i < kSpectralTile; ++i)
      line.at<float>(i) =
          static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * (i + 0.5) / kSpectralTile));
    cv::Mat square = line.t() * line;
    return cv::Mat(square / std::sqrt(cv::mean(square.mul(square))[0]));
  }();
  return taper;
}

enum Band : std::size_t { kSlowBand, kMiddleBand, kFineBand, kCornerBand, kPowerBands };

/// Indices into a spectrum of the frequencies of each band. The axes are left out: block edges of JPEG coding
/// lie there.
const std::array<std::vector<int>, kPowerBands>& band_places() {
  static const std::array<std::vector<int>, kPowerBands> places = [] {
    std::array<std::vector<int>, kPowerBands> band;
    for (int y = 0; y < kSpectralTile; ++y)
      for (int x = 2; x < kSpectralColumns; ++x) {
        const int fy = y <= kSpectralTile / 2 ? y : y - kSpectralTile;
        if (std::abs(fy) < 2) continue;
        const double f = std::hypot(x, fy) / kSpectralTile;
        const int at = y * kSpectralColumns + x;
        if (f >= 0.018 && f < 0.04) band[kSlowBand].push_back(at);
        if (f >= 0.04 && f <= 0.12) band[kMiddleBand].push_back(at);
        if (f >= 0.25 && f <= 0.45) band[kFineBand].push_back(at);
        if (f > 0.55) band[kCornerBand].push_back(at);
      }
    return band;
  }();
  return places;
}

/// The tile without the plane through its mean and slopes, for a shading across the tile would leak over all
/// frequencies; windowed.
cv::Mat levelled(const cv::Mat& grey) {
  constexpr double kMiddle = (kSpectralTile - 1) / 2.0;
  double sum = 0, along_x = 0, along_y = 0;
  for (int y = 0; y < kSpectralTile; ++y) {
    const auto* row = grey.ptr<std::uint8_t>(y);
    int plain = 0, moment = 0;
    for (int x = 0; x < kSpectralTile; ++x) plain += row[x], moment += x * row[x];
    sum += plain;
    along_x += moment - kMiddle * plain;
    along_y += (y - kMiddle) * plain;
  }
  constexpr double kMoment =
      kSpectralTile * (kSpectralTile * (static_cast<double>(kSpectralTile) * kSpectralTile - 1) / 12);
  const auto slope_x = static_cast<float>(along_x / kMoment), slope_y = static_cast<float>(along_y / kMoment);
  cv::Mat tile(kSpectralTile, kSpectralTile, CV_32F);
  for (int y = 0; y < kSpectralTile; ++y) {
    const auto* row = grey.ptr<std::uint8_t>(y);
    const auto* taper = window().ptr<float>(y);
    auto* to = tile.ptr<float>(y);
    const auto level = static_cast<float>(sum / (kSpectralTile * kSpectralTile) + (y - kMiddle) * slope_y -
                                          kMiddle * slope_x);
    for (int x = 0; x < kSpectralTile; ++x)
      to[x] = (static_cast<float>(row[x]) - level - slope_x * static_cast<float>(x)) * taper[x];
  }
  return tile;
}

bool has_detail(const TileSpectrum& tile, double noise_power) {
  const double bar = kDetailOverNoise * noise_power;
  return (tile.middle_power > kLeastMiddlePower && tile.middle_power > bar) ||
         (tile.slow_power > kLeastSlowPower && tile.slow_power > 3 * bar);
}

void keep_sharpest(std::vector<const TileSpectrum*>& tiles, double largest_share) {
  std::stable_sort(tiles.begin(), tiles.end(),
                   [](auto* a, auto* b) { return a->fine_share() > b->fine_share(); });
  const std::size_t best = std::min(kBest, tiles.size());
  double reference = 0;
  for (std::size_t i = 0; i < best; ++i) reference += tiles[i]->fine_share() / static_cast<double>(best);
  const auto most = static_cast<std::size_t>(std::ceil(largest_share * static_cast<double>(tiles.size())));
  std::size_t count = best;
  while (count < std::min(tiles.size(), std::max(most, kLeastTiles)) &&
         (count < kLeastTiles || tiles[count]->fine_share() >= kNearlyAsSharp * reference))
    ++count;
  tiles.resize(count);
}

}  // namespace

TileSpectrum tile_spectrum(const cv::Mat& grey, const cv::Rect& where) {
  TileSpectrum out;
  out.where = where;
  cv::Mat power = tile_power(levelled(grey));
  const auto in_band = [&](std::size_t band) {
    float sum = 0;
    for (const int at : band_places()[band]) sum += power.ptr<float>()[at];
    return static_cast<double>(sum) / static_cast<double>(band_places()[band].size());
  };
  out.middle_power = in_band(kMiddleBand);
  out.fine_power = in_band(kFineBand);
  out.slow_power = in_band(kSlowBand);
  out.corner_power = in_band(kCornerBand);
  power += kLeastPower;
  cv::log(power, out.log_periodogram);
  out.edges = edge_histogram(grey, std::max(out.corner_power, kLeastNoise));
  return out;
}

std::vector<cv::Rect> spectral_tiles(const cv::Size& picture, int most) {
  std::vector<cv::Rect> tiles;
  if (picture.width < kSpectralTile || picture.height < kSpectralTile) return tiles;
  int columns = 1 + (picture.width - kSpectralTile) / (kSpectralTile / 2),
      rows = 1 + (picture.height - kSpectralTile) / (kSpectralTile / 2);
  if (static_cast<long>(columns) * rows > most) {
    const double thin = std::sqrt(static_cast<double>(most) / (static_cast<double>(columns) * rows));
    columns = std::max(1, static_cast<int>(columns * thin));
    rows = std::max(1, static_cast<int>(rows * thin));
  }
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const int x = columns > 1 ? column * (picture.width - kSpectralTile) / (columns - 1)
                                : (picture.width - kSpectralTile) / 2;
      const int y = rows > 1 ? row * (picture.height - kSpectralTile) / (rows - 1)
                             : (picture.height - kSpectralTile) / 2;
      tiles.emplace_back(x, y, kSpectralTile, kSpectralTile);
    }
  return tiles;
}

double TileSpectrum::fine_share() const {
  return std::max(0.0, fine_power - 1.05 * corner_power) / middle_power;
}

MeanSpectrum mean_spectrum(const std::vector<TileSpectrum>& tiles, double largest_share) {
  if (tiles.empty()) return {};
  std::vector<double> fine;
  std::vector<const TileSpectrum*> all;
  for (const TileSpectrum& tile : tiles) {
    fine.push_back(tile.fine_power);
    all.push_back(&tile);
  }
  // In a frame that is all texture the lowest tile is no noise floor; it must not lift the bar above the
  // texture itself, so the floor is held against middle power, which exceeds fine power in every natural
  // scene.
  return mean_spectrum(all, quantile_in_place(fine, 0.1), largest_share);
}

MeanSpectrum mean_spectrum(const std::vector<const TileSpectrum*>& tiles, double noise_power,
                           double largest_share) {
  MeanSpectrum out;
  out.noise_power = noise_power;
  std::vector<const TileSpectrum*> useful;
  for (const TileSpectrum* tile : tiles)
    if (has_detail(*tile, noise_power)) useful.push_back(tile);
  out.tiles_with_detail = static_cast<int>(useful.size());
  if (useful.empty()) return out;
  out.wide_log_periodogram = cv::Mat::zeros(kSpectralTile, kSpectralColumns, CV_32F);
  for (const TileSpectrum* tile : useful) {
    out.wide_log_periodogram += tile->log_periodogram;
    out.edges += tile->edges;
  }
  out.wide_log_periodogram /= out.tiles_with_detail;
  keep_sharpest(useful, largest_share);

  out.log_periodogram = cv::Mat::zeros(kSpectralTile, kSpectralColumns, CV_32F);
  for (const TileSpectrum* tile : useful) {
    out.log_periodogram += tile->log_periodogram;
    out.middle_over_noise += std::log(tile->middle_power / (noise_power + kLeastPower));
  }
  out.tiles = static_cast<int>(useful.size());
  out.log_periodogram /= out.tiles;
  out.middle_over_noise /= out.tiles;
  return out;
}

}  // namespace lookdown::cull
