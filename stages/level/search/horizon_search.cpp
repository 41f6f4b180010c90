#include "stages/level/search/horizon_search.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace lookdown::level {
namespace {

constexpr int kDirections = 90;  // of the normal over half a turn: 2 degrees apart
constexpr int kChannels = 4;
constexpr std::array kBandWidths{2, 5, 12};
/// Variance that noise and compression leave in L*, a*, b* and log texture: keeps flat regions from winning
/// by being flat.
constexpr std::array kVarianceFloor{6.0F, 2.0F, 2.0F, 0.03F};

/// Sums over the pixels whose projection on one direction falls below a bin.
struct Sums {
  double count = 0;
  std::array<double, kChannels> value{}, square{};

  Sums operator-(const Sums& other) const {
    Sums rest = *this;
    rest.count -= other.count;
    for (int c = 0; c < kChannels; ++c) {
      rest.value[c] -= other.value[c];
      rest.square[c] -= other.square[c];
    }
    return rest;
  }
  double mean(int c) const { return value[c] / count; }
  double variance(int c) const {
    const double m = mean(c);
    return std::max(0.0, square[c] / count - m * m) + kVarianceFloor[c];
  }
};

/// Running sums over bins of one pixel along the direction; bin b holds projections in [b - half, b - half +
/// 1).
std::vector<Sums> running_sums(const SearchPicture& picture, double angle, int half) {
  std::vector<Sums> below(2 * half + 2);
  const double nx = std::cos(angle), ny = std::sin(angle);
  const double centre_x = 0.5 * (picture.valid.cols - 1), centre_y = 0.5 * (picture.valid.rows - 1);
  for (int y = 0; y < picture.valid.rows; ++y)
    for (int x = 0; x < picture.valid.cols; ++x) {
      if (!picture.valid(y, x)) continue;
      const int bin = static_cast<int>(std::floor(nx * (x - centre_x) + ny * (y - centre_y))) + half;
      Sums& sums = below[std::clamp(bin, 0, 2 * half) + 1];
      const cv::Vec4f& v = picture.channels(y, x);
      sums.count += 1;
      for (int c = 0; c < kChannels; ++c) {
        sums.value[c] += v[c];
        sums.square[c] += static_cast<double>(v[c]) * v[c];
      }
    }
  for (std::size_t b = 1; b < below.size(); ++b) {
    below[b].count += below[b - 1].count;
    for (int c = 0; c < kChannels; ++c) {
      below[b].value[c] += below[b - 1].value[c];
      below[b].square[c] += below[b - 1].square[c];
    }
  }
  return below;
}

/// Log-likelihood a pixel that two Gaussians gain over one.
double region_gain(const Sums& all, const Sums& low, const Sums& high) {
  double gain = 0;
  for (int c = 0; c < kChannels; ++c)
    gain += all.count * std::log(all.variance(c)) - low.count * std::log(low.variance(c)) -
            high.count * std::log(high.variance(c));
  return 0.5 * gain / all.count;
}

/// Squared difference of two bands against their spread, summed over channels.
double band_contrast(const Sums& low, const Sums& high) {
  double contrast = 0;
  for (int c = 0; c < kChannels; ++c) {
    const double difference = low.mean(c) - high.mean(c);
    contrast += difference * difference / (low.variance(c) + high.variance(c));
  }
  return contrast;
}

using ScoreMap = cv::Mat1f;  // rows: directions, columns: offsets

/// Scores of every cut across one direction, written to one row of each map.
void score_direction(const std::vector<Sums>& below, int row, int half, double short_side,
                     std::vector<ScoreMap>& maps) {
  const Sums& all = below.back();
  for (int cut = 1; cut <= 2 * half; ++cut) {
    const Sums low = below[cut], high = all - below[cut];
    const double line_length = below[cut + 1 > 2 * half ? cut : cut + 1].count - below[cut - 1].count;
    if (line_length < 0.7 * short_side) continue;  // two bins: a third of the short side
    const double least = 0.01 * all.count;
    if (low.count < least || high.count < least) continue;
    maps[0](row, cut) = static_cast<float>(region_gain(all, low, high));
    for (std::size_t w = 0; w < kBandWidths.size(); ++w) {
      const int width = kBandWidths[w];
      const Sums band_low = below[cut] - below[std::max(0, cut - width)];
      const Sums band_high = below[std::min(2 * half + 1, cut + width)] - below[cut];
      const double enough = 0.25 * width * short_side;
      if (band_low.count < enough || band_high.count < enough) continue;
      const double length_weight = std::min(1.0, 0.5 * line_length / short_side);
      maps[w + 1](row, cut) = static_cast<float>(band_contrast(band_low, band_high) * length_weight);
    }
  }
}

/// Peaks of a score map, best first; the map closes on itself: half a turn on, offsets change sign.
std::vector<LineCandidate> peaks(const ScoreMap& map, int half, std::size_t most) {
  std::vector<LineCandidate> found;
  const auto at = [&](int row, int column) {
    if (row < 0 || row >= kDirections) {
      row = (row + kDirections) % kDirections;
      column = 2 * half - column;
    }
    return column < 0 || column >= map.cols ? 0.F : map(row, column);
  };
  for (int row = 0; row < kDirections; ++row)
    for (int column = 1; column <= 2 * half; ++column) {
      const float score = map(row, column);
      if (score <= 0) continue;
      bool highest = true;
      for (int dr = -2; dr <= 2 && highest; ++dr)
        for (int dc = -2; dc <= 2 && highest; ++dc)
          highest = (dr == 0 && dc == 0) || at(row + dr, column + dc) < score ||
                    (at(row + dr, column + dc) == score && (dr > 0 || (dr == 0 && dc > 0)));
      if (highest)
        found.push_back({row * std::numbers::pi / kDirections, static_cast<double>(column - half), score});
    }
  std::stable_sort(found.begin(), found.end(),
                   [](const auto& a, const auto& b) { return a.score > b.score; });
  if (found.size() > most) found.resize(most);
  return found;
}

}  // namespace

std::vector<LineCandidate> candidate_lines(const SearchPicture& picture, int most) {
  const int half = static_cast<int>(std::ceil(0.5 * std::hypot(picture.valid.cols, picture.valid.rows))) + 1;
  const double short_side = std::min(picture.valid.cols, picture.valid.rows);
  std::vector<ScoreMap> maps(1 + kBandWidths.size());
  for (auto& map : maps) map = ScoreMap::zeros(kDirections, 2 * half + 2);
  for (int d = 0; d < kDirections; ++d)
    score_direction(running_sums(picture, d * std::numbers::pi / kDirections, half), d, half, short_side,
                    maps);

  const double centre_x = 0.5 * (picture.valid.cols - 1), centre_y = 0.5 * (picture.valid.rows - 1);
  std::vector<LineCandidate> candidates;
  for (const auto& map : maps)
    for (LineCandidate line : peaks(map, half, static_cast<std::size_t>(most) / (2 * maps.size()))) {
      line.offset_px += centre_x * std::cos(line.angle_rad) + centre_y * std::sin(line.angle_rad);
      candidates.push_back(line);
      candidates.push_back({line.angle_rad + std::numbers::pi, -line.offset_px, line.score});
    }
  return candidates;
}

}  // namespace lookdown::level
