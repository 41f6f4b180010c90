#include "stages/surface/matching/view_likeness.h"

#include <algorithm>
#include <array>

namespace lookdown::surface {
namespace {

constexpr std::size_t kFewViews =
    4;  ///< whose counts need no more than two digits: c (n - c) is 0 at c = 4 = n

/// Of what is not negative; std::lround is no instruction and would keep the loop from going several places
/// at once.
inline std::uint8_t rounded(float value) {
  const float half_up = value + 0.5F;
  return std::uint8_t(half_up);
}

/// Bits set in each half of a byte.
inline std::uint8_t halves(std::uint8_t x) {
  x = std::uint8_t(x - ((x >> 1U) & 0x55U));
  return std::uint8_t((x & 0x33U) + ((x >> 2U) & 0x33U));
}

/// For each bit of a row of bytes the number of views that have it set, as binary numbers whose digits lie in
/// rows of their own, and how many bits have which digits set.
class BitCounts {
 public:
  explicit BitCounts(std::size_t width) {
    for (auto& row : digits_) row.resize(width);
    for (auto& row : set_) row.resize(width);
    sum_.resize(width);
  }
  void clear() {
    for (auto& row : set_) std::fill(row.begin(), row.end(), std::uint8_t(0));
  }
  /// One plane of bytes of all views: `bits` their rows, `seen` null or rows of 255 where the view counts.
  void add_plane(const std::vector<const std::uint8_t*>& bits, const std::vector<const std::uint8_t*>& seen) {
    for (auto& row : digits_) std::fill(row.begin(), row.end(), std::uint8_t(0));
    const std::size_t width = sum_.size();
    std::uint8_t *__restrict one = digits_[0].data(), *__restrict two = digits_[1].data(),
                             *__restrict four = digits_[2].data(), *__restrict eight = digits_[3].data();
    for (std::size_t view = 0; view < bits.size(); ++view) {
      const std::uint8_t* __restrict set = bits[view], * __restrict counts = seen[view];
      const bool few = bits.size() <= kFewViews;
      const auto add = [&](std::size_t i, std::uint8_t bit) {
        const auto to_two = std::uint8_t(one[i] & bit), to_four = std::uint8_t(two[i] & to_two);
        one[i] = std::uint8_t(one[i] ^ bit);
        two[i] = std::uint8_t(two[i] ^ to_two);
        if (few) return;
        eight[i] = std::uint8_t(eight[i] | (four[i] & to_four));
        four[i] = std::uint8_t(four[i] ^ to_four);
      };
      if (counts == nullptr)
        for (std::size_t i = 0; i < width; ++i) add(i, set[i]);
      else
        for (std::size_t i = 0; i < width; ++i) add(i, std::uint8_t(set[i] & counts[i]));
    }
    count(0, one, one), count(1, two, two), count(2, one, two);
    if (bits.size() <= kFewViews) return;
    count(3, four, four), count(4, eight, eight), count(5, one, four), count(6, two, four);
  }
  /// Sum over the bits of c (n - c), c their counts: with digits o, t, f, e it is (n - 1) o + (2 n - 4) t +
  /// (4 n - 16) f
  /// + (8 n - 64) e - 4 o t - 8 o f - 16 t f, for of eight views eight have no other digit.
  const std::vector<std::int16_t>& differing(const std::vector<std::uint8_t>& views, bool few) {
    for (std::size_t i = 0; i < sum_.size(); ++i) {
      const auto n = std::int16_t(views[i]);
      sum_[i] = std::int16_t((n - 1) * of(0, i) + (2 * n - 4) * of(1, i) - 4 * of(2, i));
    }
    if (few) return sum_;
    for (std::size_t i = 0; i < sum_.size(); ++i) {
      const auto n = std::int16_t(views[i]);
      sum_[i] = std::int16_t(sum_[i] + (4 * n - 16) * of(3, i) + (8 * n - 64) * of(4, i) - 8 * of(5, i) -
                             16 * of(6, i));
    }
    return sum_;
  }

 private:
  /// Three planes have twelve bits in each half at most.
  void count(std::size_t which, const std::uint8_t* a, const std::uint8_t* b) {
    std::uint8_t* __restrict set = set_[which].data();
    for (std::size_t i = 0; i < sum_.size(); ++i) set[i] = std::uint8_t(set[i] + halves(a[i] & b[i]));
  }
  [[nodiscard]] std::int16_t of(std::size_t which, std::size_t i) const {
    return std::int16_t((set_[which][i] & 0x0FU) + (set_[which][i] >> 4U));
  }
  std::array<std::vector<std::uint8_t>, 4> digits_;
  std::array<std::vector<std::uint8_t>, 7> set_;
  std::vector<std::int16_t> sum_;
};

}  // namespace

void differing_bits(const std::vector<const Census*>& views, cv::Mat& steps) {
  CV_Assert(!views.empty() && views.size() <= kMostViewsCompared);
  const cv::Size size = views[0]->planes[0].size();
  steps.create(size, CV_8UC1);
  std::array<float, kMostViewsCompared + 1> per_pair{};
  for (std::size_t n = 2; n < per_pair.size(); ++n)
    per_pair[n] = float(kStepsPerBit) / (0.5F * float(n * (n - 1)));
  const auto width = std::size_t(size.width);
  BitCounts counts(width);
  std::vector<std::uint8_t> seeing(width);
  std::vector<const std::uint8_t*> bits(views.size()), seen(views.size());
  for (int row = 0; row < size.height; ++row) {
    std::fill(seeing.begin(), seeing.end(), std::uint8_t(0));
    bool all_seen = true;
    for (std::size_t view = 0; view < views.size(); ++view) {
      seen[view] = views[view]->seen.empty() ? nullptr : views[view]->seen.ptr(row);
      all_seen &= seen[view] == nullptr;
      const std::uint8_t* there = seen[view];
      for (std::size_t i = 0; i < width; ++i)
        seeing[i] = std::uint8_t(seeing[i] + (there ? there[i] & 1U : 1U));
    }
    counts.clear();
    for (std::size_t plane = 0; plane < views[0]->planes.size(); ++plane) {
      for (std::size_t view = 0; view < views.size(); ++view)
        bits[view] = views[view]->planes[plane].ptr(row);
      counts.add_plane(bits, seen);
    }
    const std::vector<std::int16_t>& differing = counts.differing(seeing, views.size() <= kFewViews);
    std::uint8_t* out = steps.ptr(row);
    if (all_seen && views.size() >= 2) {
      const float scale = per_pair[views.size()];
      for (std::size_t i = 0; i < width; ++i) out[i] = rounded(float(differing[i]) * scale);
      continue;
    }
    for (std::size_t i = 0; i < width; ++i)
      out[i] = seeing[i] < 2 ? kUnknown : rounded(float(differing[i]) * per_pair[seeing[i]]);
  }
}

}  // namespace lookdown::surface
