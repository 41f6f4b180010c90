#include "stages/level/search/horizon_evidence.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "pipeline/base/angles.h"

namespace lookdown::level {
namespace {

constexpr int kBins = 128;
constexpr int kEvidenceChannels = 4;
/// Beyond these a sky is hardly one, whatever else speaks for it: log texture, share of blue or neutral
/// pixels, share rougher than half of the ground.
constexpr double kRoughSky = 0.7, kFewestBlue = 0.7, kMostRoughShare = 0.25;
enum Channel { lightness, green_red, blue_yellow, texture };

/// Histogram range of each channel.
constexpr std::array<float, kEvidenceChannels> kLowest{0.F, -60.F, -60.F, -2.F};
constexpr std::array<float, kEvidenceChannels> kHighest{100.F, 60.F, 60.F, 4.F};

/// Pixels of one side of the cut.
struct Side {
  std::array<std::array<double, kBins>, kEvidenceChannels> histogram{};
  std::array<double, kEvidenceChannels> sum{}, square{};
  double count = 0;
  double blue_or_neutral = 0;

  void add(const cv::Vec4f& v) {
    count += 1;
    for (int c = 0; c < kEvidenceChannels; ++c) {
      const float place = (v[c] - kLowest[c]) / (kHighest[c] - kLowest[c]) * kBins;
      histogram[c][std::clamp(static_cast<int>(place), 0, kBins - 1)] += 1;
      sum[c] += v[c];
      square[c] += static_cast<double>(v[c]) * v[c];
    }
    blue_or_neutral += v[blue_yellow] < 4 ? 1 : 0;
  }
  double mean(int c) const { return count > 0 ? sum[c] / count : 0; }
  double deviation(int c) const {
    return count > 0 ? std::sqrt(std::max(0.0, square[c] / count - mean(c) * mean(c))) : 0;
  }
};

/// 2 P(sky > ground) - 1, ties halved: +1 when every sky pixel is above every ground pixel.
double superiority(const Side& sky, const Side& ground, int channel) {
  if (sky.count == 0 || ground.count == 0) return 0;
  double below = 0, won = 0;
  for (int b = 0; b < kBins; ++b) {
    won += sky.histogram[channel][b] * (below + 0.5 * ground.histogram[channel][b]);
    below += ground.histogram[channel][b];
  }
  return 2 * won / (sky.count * ground.count) - 1;
}

/// Share of `side` above the median of `other`.
double share_above_median(const Side& side, const Side& other, int channel) {
  double passed = 0, above = 0;
  for (int b = 0; b < kBins; ++b) {
    if (passed >= 0.5 * other.count) above += side.histogram[channel][b];
    passed += other.histogram[channel][b];
  }
  return side.count > 0 ? above / side.count : 0;
}

struct Sides {
  Side sky, ground, sky_near, ground_near;
  std::vector<double> layer_sum, layer_square,
      layer_count;  ///< L* of the sky in layers one pixel thick along the line
  double line_length = 0;
};

Sides part(const SearchPicture& picture, const LineCandidate& line, int stride) {
  Sides sides;
  const double nx = std::cos(line.angle_rad), ny = std::sin(line.angle_rad);
  const double gap = 1.5, band = 0.12 * std::min(picture.valid.cols, picture.valid.rows);
  const std::size_t layers =
      static_cast<std::size_t>(picture.valid.cols) + static_cast<std::size_t>(picture.valid.rows);
  sides.layer_sum.assign(layers, 0);
  sides.layer_square.assign(layers, 0);
  sides.layer_count.assign(layers, 0);
  for (int y = 0; y < picture.valid.rows; y += stride)
    for (int x = 0; x < picture.valid.cols; x += stride) {
      if (!picture.valid(y, x)) continue;
      const double distance = nx * x + ny * y - line.offset_px;
      if (std::abs(distance) < 0.5 * stride) sides.line_length += stride;
      if (std::abs(distance) < gap) continue;
      const cv::Vec4f& v = picture.channels(y, x);
      const bool is_sky = distance > 0;
      (is_sky ? sides.sky : sides.ground).add(v);
      if (std::abs(distance) < band) (is_sky ? sides.sky_near : sides.ground_near).add(v);
      if (is_sky && static_cast<std::size_t>(distance) < layers) {
        const auto layer = static_cast<std::size_t>(distance);
        sides.layer_sum[layer] += v[lightness];
        sides.layer_square[layer] += static_cast<double>(v[lightness]) * v[lightness];
        sides.layer_count[layer] += 1;
      }
    }
  return sides;
}

/// Share of the sky's lightness variance that layers parallel to the line explain: near 1 for a clear sky.
double layered_share(const Sides& sides) {
  double within = 0;
  for (std::size_t i = 0; i < sides.layer_sum.size(); ++i)
    if (sides.layer_count[i] > 0)
      within += sides.layer_square[i] - sides.layer_sum[i] * sides.layer_sum[i] / sides.layer_count[i];
  const double spread = sides.sky.deviation(lightness);
  const double total = spread * spread * sides.sky.count;
  return total > 0 ? std::clamp(1 - within / (total + sides.sky.count), 0.0, 1.0) : 0;
}

/// How far apart the near bands are in L*, a*, b*, in units of their spread.
double near_contrast(const Side& a, const Side& b) {
  double squared = 0;
  for (int c = 0; c < 3; ++c) {
    const double difference = a.mean(c) - b.mean(c);
    const double spread = a.deviation(c) * a.deviation(c) + b.deviation(c) * b.deviation(c) + 4.0;
    squared += difference * difference / spread;
  }
  return std::sqrt(squared);
}

/// Log-likelihood a pixel that two Gaussians gain over one, texture and colour together.
double region_gain(const Sides& sides) {
  const Side &s = sides.sky, &g = sides.ground;
  const double all = s.count + g.count;
  if (s.count == 0 || g.count == 0) return 0;
  double gain = 0;
  for (int c = 0; c < kEvidenceChannels; ++c) {
    const double floor = c == texture ? 0.03 : 3.0;
    const double mean = (s.sum[c] + g.sum[c]) / all;
    const double joint = (s.square[c] + g.square[c]) / all - mean * mean + floor;
    gain += all * std::log(joint) - s.count * std::log(s.deviation(c) * s.deviation(c) + floor) -
            g.count * std::log(g.deviation(c) * g.deviation(c) + floor);
  }
  return 0.5 * gain / all;
}

}  // namespace

Evidence evidence_of(const SearchPicture& picture, const LineCandidate& line, double roll_rad,
                     const LineSupport& support, int stride) {
  const Sides s = part(picture, line, stride);
  const double smaller_share =
      std::min(s.sky.count, s.ground.count) / std::max(1.0, s.sky.count + s.ground.count);
  const double roll_deg = std::abs(roll_rad) / kDegree;
  return {
      1.0,
      support.inlier_share,
      0.5 * std::log1p(support.step_to_noise),
      support.same_sign_share,
      std::log(0.05 + support.scatter_share),
      superiority(s.sky_near, s.ground_near, lightness),
      superiority(s.sky_near, s.ground_near, blue_yellow),
      superiority(s.sky_near, s.ground_near, texture),
      superiority(s.sky, s.ground, lightness),
      superiority(s.sky, s.ground, blue_yellow),
      superiority(s.sky, s.ground, texture),
      superiority(s.sky_near, s.ground_near, green_red),
      std::clamp((s.sky_near.mean(lightness) - s.ground_near.mean(lightness)) / 20, -2.0, 2.0),
      s.sky.mean(texture),
      s.ground_near.mean(texture),
      std::min(2.0, region_gain(s)),
      share_above_median(s.sky, s.ground, texture),
      std::max(0.0, roll_deg - 60) / 30,
      10 * std::max(0.0, 0.1 - smaller_share),
      s.sky.count > 0 ? s.sky.blue_or_neutral / s.sky.count : 0,
      s.sky.mean(lightness) / 50 - 1,
      layered_share(s),
      std::min(4.0, near_contrast(s.sky_near, s.ground_near)),
      s.line_length / std::max(picture.valid.cols, picture.valid.rows),
      support.profile.step_above_share,
      support.profile.along_sky_to_ground,
      support.profile.own_step,
      support.profile.step_close_above_share,
      support.coherence,
      support.fine_share,
      support.profile.layering_sky,
      support.profile.layering_ground,
      std::max(0.0, s.sky.mean(texture) - kRoughSky),
      std::max(0.0, kFewestBlue - (s.sky.count > 0 ? s.sky.blue_or_neutral / s.sky.count : 0)),
      std::max(0.0, share_above_median(s.sky, s.ground, texture) - kMostRoughShare),
  };
}

double weighted(const Evidence& evidence, const Evidence& weights) {
  double sum = 0;
  for (int i = 0; i < kEvidenceTerms; ++i) sum += weights[i] * evidence[i];
  return sum;
}

}  // namespace lookdown::level
