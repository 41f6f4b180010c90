#include "stages/surface/matching/semi_global.h"

#include <algorithm>

namespace lookdown::surface {
namespace {

constexpr std::int16_t kFar = 16000;

/// Costs of the cheapest path that ends at a place, for each hypothesis, with a far cost at either end.
class Path {
 public:
  explicit Path(int hypotheses) : values_(std::size_t(hypotheses) + 2, kFar) {}
  std::int16_t* values() { return values_.data() + 1; }
  [[nodiscard]] const std::int16_t* values() const { return values_.data() + 1; }
  std::int16_t least = 0;
  bool begun = false;

 private:
  std::vector<std::int16_t> values_;
};

/// Carries a path on to the next place and adds it to the sum there.
void step(const Path& from, const std::uint8_t* __restrict costs, int hypotheses, const Smoothness& smooth,
          Path& to, std::int16_t* __restrict sum) {
  std::int16_t* __restrict out = to.values();
  std::int16_t least = kFar;
  if (!from.begun) {
    for (int k = 0; k < hypotheses; ++k) out[k] = costs[k];
    for (int k = 0; k < hypotheses; ++k) least = out[k] < least ? out[k] : least;
  } else {
    const std::int16_t* __restrict before = from.values();
    const auto jump = std::int16_t(from.least + smooth.jump);
    const std::int16_t one = smooth.one_step, floor = from.least;
    for (int k = 0; k < hypotheses; ++k) {
      const std::int16_t lower = before[k - 1], upper = before[k + 1];
      auto best = std::int16_t((lower < upper ? lower : upper) + one);
      best = before[k] < best ? before[k] : best;
      best = jump < best ? jump : best;
      const auto value = std::int16_t(costs[k] + best - floor);
      out[k] = value;
      least = value < least ? value : least;
    }
  }
  for (int k = 0; k < hypotheses; ++k) sum[k] = std::int16_t(sum[k] + out[k]);
  to.least = least;
  to.begun = true;
}

/// The four paths that come from the left and from above, or with `back` from the right and from below.
void aggregate_half(const CostVolume& volume, const Smoothness& smooth, bool back,
                    std::vector<std::int16_t>& sums) {
  const int width = volume.size.width, height = volume.size.height, count = volume.hypotheses;
  const Path fresh(count);
  // One place more on either side, where no path has begun.
  using Line = std::vector<Path>;
  Line above[3], here[3];
  for (int way = 0; way < 3; ++way) above[way] = here[way] = Line(std::size_t(width) + 2, fresh);
  for (int i = 0; i < height; ++i) {
    const int row = back ? height - 1 - i : i;
    Path along = fresh, next = fresh;
    for (int j = 0; j < width; ++j) {
      const int column = back ? width - 1 - j : j;
      const std::uint8_t* costs = volume.at(row, column);
      std::int16_t* sum = sums.data() + (costs - volume.costs.data());
      step(along, costs, count, smooth, next, sum);
      std::swap(along, next);
      for (int way = 0; way < 3; ++way)
        step(above[way][std::size_t(column) + std::size_t(way)], costs, count, smooth,
             here[way][std::size_t(column) + 1], sum);
    }
    for (int way = 0; way < 3; ++way) std::swap(above[way], here[way]);
  }
}

}  // namespace

std::vector<std::int16_t> aggregate(const CostVolume& volume, const Smoothness& smooth) {
  std::vector<std::int16_t> sums(volume.costs.size(), 0);
  aggregate_half(volume, smooth, false, sums);
  aggregate_half(volume, smooth, true, sums);
  return sums;
}

}  // namespace lookdown::surface
