#include "stages/place/features/descriptor_match.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

// Wider vector units are used where the processor has them. Not under the sanitizers, whose run time is not
// ready when the choice is made at program start.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define LOOKDOWN_WIDE_UNITS __attribute__((target_clones("avx2", "default")))
#else
#define LOOKDOWN_WIDE_UNITS
#endif

namespace lookdown::place {
namespace {

constexpr int kFar = std::numeric_limits<int>::max();
/// Spots closer than this many of their own sizes are the same place (one spot may carry two directions).
constexpr float kSamePlaceSizes = 0.5F;

/// Rows compared in one pass, so that the many others are fetched once for all of them.
constexpr std::size_t kRowsAtOnce = 4;

/// Dot products of kRowsAtOnce rows that follow each other with `count` others: `count` numbers a row.
LOOKDOWN_WIDE_UNITS
void dot_products(const std::int16_t* row, const std::int16_t* rows, std::size_t count, std::int32_t* out) {
  const std::int16_t *row1 = row + kDescriptorBytes, *row2 = row1 + kDescriptorBytes,
                     *row3 = row2 + kDescriptorBytes;
  for (std::size_t r = 0; r < count; ++r) {
    const std::int16_t* other = rows + r * kDescriptorBytes;
    std::int32_t sum0 = 0, sum1 = 0, sum2 = 0, sum3 = 0;
    for (int c = 0; c < kDescriptorBytes; ++c) {
      sum0 += std::int32_t(row[c]) * std::int32_t(other[c]);
      sum1 += std::int32_t(row1[c]) * std::int32_t(other[c]);
      sum2 += std::int32_t(row2[c]) * std::int32_t(other[c]);
      sum3 += std::int32_t(row3[c]) * std::int32_t(other[c]);
    }
    out[r] = sum0;
    out[count + r] = sum1;
    out[2 * count + r] = sum2;
    out[3 * count + r] = sum3;
  }
}

/// Turns dot products of row `i` into square distances and keeps for each other the nearest row so far.
LOOKDOWN_WIDE_UNITS
void keep_nearest(std::int32_t* dots, std::int32_t square_length, const std::int32_t* square_lengths,
                  std::size_t count, int i, int* best_distance, int* best_row) {
  for (std::size_t j = 0; j < count; ++j) {
    const int d = square_length + square_lengths[j] - 2 * dots[j];
    dots[j] = d;
    best_row[j] = d < best_distance[j] ? i : best_row[j];
    best_distance[j] = std::min(best_distance[j], d);
  }
}

int square_distance(const std::uint8_t* a, const std::uint8_t* b) {
  int sum = 0;
  for (int c = 0; c < kDescriptorBytes; ++c) {
    const int d = int(a[c]) - int(b[c]);
    sum += d * d;
  }
  return sum;
}

bool same_place(const Feature& p, const Feature& q) {
  const float dx = p.x_px - q.x_px, dy = p.y_px - q.y_px;
  const float reach = kSamePlaceSizes * std::max(p.size_px, q.size_px);
  return dx * dx + dy * dy < reach * reach;
}

/// The nearest few of a row, nearest first.
struct Nearest {
  std::array<int, 3> distance{kFar, kFar, kFar};
  std::array<int, 3> index{-1, -1, -1};
  void see(int d, int i) {
    if (d >= distance[2]) return;
    int at = 2;
    while (at > 0 && d < distance[std::size_t(at) - 1]) {
      distance[std::size_t(at)] = distance[std::size_t(at) - 1];
      index[std::size_t(at)] = index[std::size_t(at) - 1];
      --at;
    }
    distance[std::size_t(at)] = d;
    index[std::size_t(at)] = i;
  }
  /// Lowe's test against the nearest spot at another place.
  [[nodiscard]] bool distinct(const FrameFeatures& b, double ratio) const {
    if (index[0] < 0) return false;
    for (std::size_t other = 1; other < 3; ++other) {
      if (index[other] < 0) return true;
      if (same_place(b.spots[std::size_t(index[0])], b.spots[std::size_t(index[other])])) continue;
      return distance[0] < ratio * ratio * distance[other];
    }
    return true;
  }
};

float wrapped(float angle) {
  return std::remainder(angle, 2 * std::numbers::pi_v<float>);
}

using Position = std::array<float, 2>;

/// Spots of a frame by square cells; those left of or above the frame are in the cells at its edge.
class Cells {
 public:
  Cells(const std::vector<Position>& positions, double cell_px) : cell_(float(std::max(1.0, cell_px))) {
    float right = 0, bottom = 0;
    for (const Position& p : positions) {
      right = std::max(right, p[0]);
      bottom = std::max(bottom, p[1]);
    }
    columns_ = int(right / cell_) + 1;
    rows_ = int(bottom / cell_) + 1;
    start_.assign(std::size_t(columns_) * std::size_t(rows_) + 1, 0);
    for (const Position& p : positions) ++start_[std::size_t(at(p)) + 1];
    for (std::size_t i = 1; i < start_.size(); ++i) start_[i] += start_[i - 1];
    std::vector<int> next(start_.begin(), start_.end() - 1);
    members_.resize(positions.size());
    for (std::size_t i = 0; i < positions.size(); ++i)
      members_[std::size_t(next[std::size_t(at(positions[i]))]++)] = int(i);
  }
  template <class See>
  void around(float x, float y, float radius, See&& see) const {
    const int c0 = std::max(0, int((x - radius) / cell_)),
              c1 = std::min(columns_ - 1, int((x + radius) / cell_));
    const int r0 = std::max(0, int((y - radius) / cell_)),
              r1 = std::min(rows_ - 1, int((y + radius) / cell_));
    for (int r = r0; r <= r1; ++r)
      for (int c = c0; c <= c1; ++c) {
        const std::size_t cell = std::size_t(r) * std::size_t(columns_) + std::size_t(c);
        for (int k = start_[cell]; k < start_[cell + 1]; ++k) see(members_[std::size_t(k)]);
      }
  }

 private:
  [[nodiscard]] int at(const Position& p) const {
    return std::clamp(int(p[1] / cell_), 0, rows_ - 1) * columns_ +
           std::clamp(int(p[0] / cell_), 0, columns_ - 1);
  }
  float cell_;
  int columns_ = 1, rows_ = 1;
  std::vector<int> start_, members_;
};

}  // namespace

WideDescriptors widen(const FrameFeatures& features, std::size_t most) {
  WideDescriptors wide;
  const std::size_t count = std::min(most, features.size());
  wide.rows.resize(count * kDescriptorBytes);
  wide.square_length.resize(count);
  for (std::size_t r = 0; r < count; ++r) {
    std::int32_t sum = 0;
    for (int c = 0; c < kDescriptorBytes; ++c) {
      const std::int16_t v = features.descriptor(r)[c];
      wide.rows[r * kDescriptorBytes + std::size_t(c)] = v;
      sum += std::int32_t(v) * v;
    }
    wide.square_length[r] = sum;
  }
  return wide;
}

std::vector<Match> match_all(const FrameFeatures& a, const WideDescriptors& wide_a, const FrameFeatures& b,
                             const WideDescriptors& wide_b, double ratio) {
  const std::size_t count_a = wide_a.size(), count_b = wide_b.size();
  std::vector<std::int32_t> distances(kRowsAtOnce * count_b);
  std::vector<Nearest> of_a(count_a);
  std::vector<int> best_a(count_b, -1), best_distance(count_b, kFar);
  std::vector<std::int16_t> last(kRowsAtOnce * kDescriptorBytes);  // the rest, filled up with nought
  for (std::size_t first = 0; first < count_a; first += kRowsAtOnce) {
    const std::size_t rows = std::min(kRowsAtOnce, count_a - first);
    const std::int16_t* row = wide_a.rows.data() + first * kDescriptorBytes;
    if (rows < kRowsAtOnce) {
      std::copy_n(row, rows * kDescriptorBytes, last.begin());
      row = last.data();
    }
    dot_products(row, wide_b.rows.data(), count_b, distances.data());
    for (std::size_t i = first; i < first + rows; ++i) {
      std::int32_t* const of_i = distances.data() + (i - first) * count_b;
      keep_nearest(of_i, wide_a.square_length[i], wide_b.square_length.data(), count_b, int(i),
                   best_distance.data(), best_a.data());
      Nearest nearest;
      for (std::size_t j = 0; j < count_b; ++j) nearest.see(of_i[j], int(j));
      of_a[i] = nearest;
    }
  }
  std::vector<Match> matches;
  for (std::size_t i = 0; i < count_a; ++i) {
    const int j = of_a[i].index[0];
    if (j < 0 || !of_a[i].distinct(b, ratio)) continue;
    const int back = best_a[std::size_t(j)];
    if (back == int(i) || same_place(a.spots[std::size_t(back)], a.spots[i])) matches.push_back({int(i), j});
  }
  return matches;
}

namespace {

/// Generous, because tilt turns and scales a spot differently over a frame.
bool looks_as_expected(const Feature& spot, const Feature& other, float turn_rad, float log_scale) {
  constexpr float turn_tolerance = 0.6F, scale_tolerance = 0.6F;
  return std::abs(wrapped(other.angle_rad - spot.angle_rad - turn_rad)) <= turn_tolerance &&
         std::abs(std::log(other.size_px / spot.size_px) - log_scale) <= scale_tolerance;
}

/// What each side of a guided comparison has found nearest to it.
class Rivals {
 public:
  Rivals(const FrameFeatures& a, const FrameFeatures& b)
      : a_(a), b_(b), of_a_(a.size()), best_a_(b.size(), -1), best_distance_(b.size(), kFar) {}
  void see(std::size_t i, int j) {
    const int d = square_distance(a_.descriptor(i), b_.descriptor(std::size_t(j)));
    of_a_[i].see(d, j);
    if (d < best_distance_[std::size_t(j)]) {
      best_distance_[std::size_t(j)] = d;
      best_a_[std::size_t(j)] = int(i);
    }
  }
  /// With few rivals nearby the ratio says little: a look-alike must also be near in itself.
  [[nodiscard]] std::vector<Match> mutual(double ratio) const {
    constexpr int farthest = 2 * 180 * 180 * 38 / 100;
    std::vector<Match> matches;
    for (std::size_t i = 0; i < a_.size(); ++i) {
      const int j = of_a_[i].index[0];
      if (j < 0 || of_a_[i].distance[0] > farthest || !of_a_[i].distinct(b_, ratio)) continue;
      if (best_a_[std::size_t(j)] == int(i)) matches.push_back({int(i), j});
    }
    return matches;
  }

 private:
  const FrameFeatures &a_, &b_;
  std::vector<Nearest> of_a_;
  std::vector<int> best_a_, best_distance_;
};

}  // namespace

std::vector<Match> match_near(const FrameFeatures& a, const FrameFeatures& b,
                              const std::vector<Expectation>& expected, double radius_px, double ratio) {
  if (b.size() == 0) return {};
  std::vector<Position> positions;
  for (const Feature& spot : b.spots) positions.push_back({spot.x_px, spot.y_px});
  const Cells cells(positions, radius_px);
  const float radius = float(radius_px);
  Rivals rivals(a, b);
  for (std::size_t i = 0; i < a.size(); ++i) {
    const Expectation& e = expected[i];
    if (!e.inside) continue;
    cells.around(e.x_px, e.y_px, radius, [&](int j) {
      const Feature& other = b.spots[std::size_t(j)];
      const float dx = other.x_px - e.x_px, dy = other.y_px - e.y_px;
      if (dx * dx + dy * dy > radius * radius) return;
      if (looks_as_expected(a.spots[i], other, e.turn_rad, e.log_scale)) rivals.see(i, j);
    });
  }
  return rivals.mutual(ratio);
}

std::vector<Match> match_along(const FrameFeatures& a, const FrameFeatures& b,
                               const std::vector<Position>& positions, const std::vector<Stretch>& stretches,
                               const std::vector<char>& taken, double width_px, double ratio) {
  if (b.size() == 0) return {};
  const float width = float(width_px), step = 4 * width;
  const Cells cells(positions, step);
  Rivals rivals(a, b);
  for (std::size_t i = 0; i < a.size(); ++i) {
    const Stretch& s = stretches[i];
    if (!s.used) continue;
    const float run_x = s.to[0] - s.from[0], run_y = s.to[1] - s.from[1], length = std::hypot(run_x, run_y);
    if (!(length > 0)) continue;
    const float ux = run_x / length, uy = run_y / length;
    // Pieces share no point, so that no spot is seen twice.
    for (float start = 0; start < length; start += step)
      cells.around(
          s.from[0] + ux * (start + step / 2), s.from[1] + uy * (start + step / 2), step, [&](int j) {
            const float dx = positions[std::size_t(j)][0] - s.from[0],
                        dy = positions[std::size_t(j)][1] - s.from[1];
            const float along = dx * ux + dy * uy, off = dx * uy - dy * ux;
            if (std::abs(off) > width || along < start || along >= start + step || taken[std::size_t(j)])
              return;
            if (looks_as_expected(a.spots[i], b.spots[std::size_t(j)], s.turn_rad, s.log_scale))
              rivals.see(i, j);
          });
  }
  return rivals.mutual(ratio);
}

std::vector<Match> agreeing_in_turn_and_scale(const FrameFeatures& a, const FrameFeatures& b,
                                              const std::vector<Match>& matches, double turn_rad,
                                              double log_scale) {
  constexpr int turn_bins = 36, scale_bins = 24;
  constexpr float scale_range =
      2.4F;  // natural logarithm: up to about 1:3.3 either way with the spread of the bins
  std::vector<int> votes(turn_bins * scale_bins, 0);
  std::vector<std::array<float, 2>> seen(matches.size());
  for (std::size_t m = 0; m < matches.size(); ++m) {
    const Feature& p = a.spots[std::size_t(matches[m].a)];
    const Feature& q = b.spots[std::size_t(matches[m].b)];
    seen[m] = {wrapped(q.angle_rad - p.angle_rad), std::log(q.size_px / p.size_px)};
    const int turn = int((seen[m][0] / (2 * std::numbers::pi_v<float>)+0.5F) * turn_bins) % turn_bins;
    const int scale = std::clamp(int((seen[m][1] / scale_range + 0.5F) * scale_bins), 0, scale_bins - 1);
    for (int dt = -1; dt <= 1; ++dt)
      for (int ds = -1; ds <= 1; ++ds) {
        const int s = scale + ds;
        if (s < 0 || s >= scale_bins) continue;
        votes[std::size_t(((turn + dt + turn_bins) % turn_bins) * scale_bins + s)] +=
            (dt == 0 ? 2 : 1) * (ds == 0 ? 2 : 1);
      }
  }
  const int peak = int(std::max_element(votes.begin(), votes.end()) - votes.begin());
  const float turn = ((float(peak / scale_bins) + 0.5F) / turn_bins - 0.5F) * 2 * std::numbers::pi_v<float>;
  const float scale = ((float(peak % scale_bins) + 0.5F) / scale_bins - 0.5F) * scale_range;
  std::vector<Match> kept;
  for (std::size_t m = 0; m < matches.size(); ++m)
    if (std::abs(wrapped(seen[m][0] - turn)) <= float(turn_rad) &&
        std::abs(seen[m][1] - scale) <= float(log_scale))
      kept.push_back(matches[m]);
  return kept;
}

}  // namespace lookdown::place
