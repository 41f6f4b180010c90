#include "stages/surface/matching/plane_sweep.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/surface/matching/census.h"
#include "stages/surface/matching/semi_global.h"

namespace lookdown::surface {
namespace {

constexpr int kMostPairs = 6;  ///< whose likeness counts at a place
constexpr int kCostPerBit = 4;
constexpr int kRandomBits = Census::kBits / 2;  ///< that differ where pictures have nothing in common
/// Of pictures that show the same through a camera's noise and a little resampling, on the mean of a few
/// places around: a quarter of single places have no more by chance, hardly any such mean.
constexpr int kMostBitsAgreeing = 8;
constexpr int kAgreeingSide = 5;
/// Grey levels, standard deviation over a neighbourhood, below which there is nothing to compare but grain:
/// calm water, deep shadow.
constexpr double kLeastContrast = 2.5;

/// The least of what the pairs say at each place, and how many say anything.
class Least {
 public:
  explicit Least(cv::Size size) : count_(size, CV_8UC1) {
    for (cv::Mat& m : least_) m.create(size, CV_8UC1);
  }
  void clear() {
    for (cv::Mat& m : least_) m.setTo(kUnknown);
    count_.setTo(0);
  }
  void add(const cv::Mat& bits) {
    const int width = bits.cols;
    for (int row = 0; row < bits.rows; ++row) {
      const std::uint8_t* __restrict said = bits.ptr(row);
      std::uint8_t* __restrict count = count_.ptr(row);
      rest_.resize(std::size_t(width));
      std::uint8_t* __restrict rest = rest_.data();
      for (int column = 0; column < width; ++column) {
        rest[column] = said[column];
        count[column] = std::uint8_t(count[column] + (said[column] != kUnknown ? 1 : 0));
      }
      // Each place keeps the smaller and hands the larger on.
      for (cv::Mat& m : least_) {
        std::uint8_t* __restrict kept = m.ptr(row);
        for (int column = 0; column < width; ++column) {
          const std::uint8_t one = kept[column], other = rest[column];
          kept[column] = one < other ? one : other;
          rest[column] = one < other ? other : one;
        }
      }
    }
  }
  [[nodiscard]] bool is_told(int row, int column) const { return count_.at<std::uint8_t>(row, column) > 0; }
  /// Mean over the better half.
  [[nodiscard]] int cost(int row, int column) const {
    const int counted = std::min((count_.at<std::uint8_t>(row, column) + 1) / 2, kMostPairs);
    if (counted == 0) return kRandomBits * kCostPerBit;
    int sum = 0;
    for (int i = 0; i < counted; ++i) sum += least_[std::size_t(i)].at<std::uint8_t>(row, column);
    return kCostPerBit * sum / counted;
  }

 private:
  std::array<cv::Mat, kMostPairs> least_;
  cv::Mat count_;
  std::vector<std::uint8_t> rest_;
};

/// `told` counts the hypotheses under which some pair shows a place.
CostVolume costs_of(const Sweep& task, cv::Mat& told) {
  told = cv::Mat::zeros(task.size, CV_32FC1);
  CostVolume volume{task.size, task.hypotheses, {}};
  volume.costs.resize(std::size_t(task.size.area()) * std::size_t(task.hypotheses));
  std::vector<Census> census(std::size_t(task.views));
  // A few hypotheses at a time, so that a place's costs are written side by side.
  constexpr int kTogether = 16;
  std::vector<Least> least;
  least.reserve(kTogether);
  for (int k = 0; k < kTogether; ++k) least.emplace_back(task.size);
  cv::Mat grey, bits;
  for (int first = 0; first < task.hypotheses; first += kTogether) {
    const int together = std::min(kTogether, task.hypotheses - first);
    for (int k = 0; k < together; ++k) {
      for (int view = 0; view < task.views; ++view) {
        task.look(view, first + k, grey);
        take_census(grey, census[std::size_t(view)]);
      }
      least[std::size_t(k)].clear();
      for (const auto& [one, other] : task.pairs) {
        differing_bits(census[std::size_t(one)], census[std::size_t(other)], bits);
        least[std::size_t(k)].add(bits);
      }
    }
    for (int row = 0; row < task.size.height; ++row)
      for (int column = 0; column < task.size.width; ++column) {
        std::uint8_t* costs = volume.at(row, column) + first;
        float& count = told.at<float>(row, column);
        for (int k = 0; k < together; ++k) {
          count += least[std::size_t(k)].is_told(row, column) ? 1.0F : 0.0F;
          costs[k] = std::uint8_t(least[std::size_t(k)].cost(row, column));
        }
      }
  }
  return volume;
}

}  // namespace

SweepAnswer sweep(const Sweep& task) {
  SweepAnswer answer{cv::Mat(task.size, CV_32FC1), cv::Mat::zeros(task.size, CV_32FC1), {}};
  const CostVolume volume = costs_of(task, answer.told);
  answer.told /= task.hypotheses;
  const std::vector<std::int16_t> sums = aggregate(volume, {});
  constexpr float kRandomSum = 8.0F * kRandomBits * kCostPerBit;
  for (int row = 0; row < task.size.height; ++row)
    for (int column = 0; column < task.size.width; ++column) {
      const std::int16_t* sum = sums.data() + (volume.at(row, column) - volume.costs.data());
      const int best = int(std::min_element(sum, sum + task.hypotheses) - sum);
      float& found = answer.hypothesis.at<float>(row, column);
      found = float(best);
      if (best == 0 || best == task.hypotheses - 1) continue;
      const int curve = sum[best - 1] - 2 * sum[best] + sum[best + 1];
      if (curve > 0) found += 0.5F * float(sum[best - 1] - sum[best + 1]) / float(curve);
      int next = 32000;
      for (int k = 0; k < task.hypotheses; ++k)
        if (std::abs(k - best) > 2) next = std::min(next, int(sum[k]));
      answer.margin.at<float>(row, column) = float(next - sum[best]) / kRandomSum;
    }
  return answer;
}

namespace {

cv::Mat has_contrast(const cv::Mat& grey) {
  constexpr int kSide = 2 * Census::kReach + 1;
  cv::Mat values, mean, squares;
  grey.convertTo(values, CV_32F);
  cv::blur(values, mean, {kSide, kSide}, {-1, -1}, cv::BORDER_REPLICATE);
  cv::blur(values.mul(values), squares, {kSide, kSide}, {-1, -1}, cv::BORDER_REPLICATE);
  return squares - mean.mul(mean) >= kLeastContrast * kLeastContrast;
}

}  // namespace

cv::Mat agreeing_views(const std::vector<cv::Mat>& shown, const std::vector<std::pair<int, int>>& pairs) {
  std::vector<Census> census(shown.size());
  for (std::size_t view = 0; view < shown.size(); ++view) take_census(shown[view], census[view]);
  std::vector<cv::Mat> has_partner(shown.size()), tells(shown.size());
  for (std::size_t view = 0; view < shown.size(); ++view) tells[view] = has_contrast(shown[view]);
  cv::Mat bits, count = cv::Mat::zeros(shown.at(0).size(), CV_8UC1);
  for (cv::Mat& m : has_partner) m = cv::Mat::zeros(count.size(), CV_8UC1);
  for (const auto& [one, other] : pairs) {
    differing_bits(census[std::size_t(one)], census[std::size_t(other)], bits);
    const cv::Mat seen = bits != kUnknown;
    cv::blur(bits, bits, {kAgreeingSide, kAgreeingSide}, {-1, -1}, cv::BORDER_REPLICATE);
    const cv::Mat agree =
        (bits <= kMostBitsAgreeing) & seen & tells[std::size_t(one)] & tells[std::size_t(other)];
    has_partner[std::size_t(one)] |= agree;
    has_partner[std::size_t(other)] |= agree;
  }
  for (const cv::Mat& m : has_partner) count += m & 1;
  return count;
}

}  // namespace lookdown::surface
