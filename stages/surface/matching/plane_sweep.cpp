#include "stages/surface/matching/plane_sweep.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/surface/matching/census.h"
#include "stages/surface/matching/semi_global.h"
#include "stages/surface/matching/view_likeness.h"

namespace lookdown::surface {
namespace {

/// Steps by which a hypothesis that is out of question is worse: more than any likeness makes up for.
constexpr std::uint8_t kOutOfQuestion = 100;

constexpr int kRandomBits = Census::kBits / 2;  ///< that differ where pictures have nothing in common
/// Of pictures that show the same through a camera's noise and a little resampling, on the mean of a few
/// places around: a quarter of single places have no more by chance, hardly any such mean.
constexpr int kMostBitsAgreeing = 8;
constexpr int kAgreeingSide = 5;
constexpr int kUnlikeSide = 9;  ///< places

/// Unlikeness of what the views show, in steps; kUnknown where fewer than two show the place.
void unlikeness(const Sweep& task, const std::vector<Census>& census, cv::Mat& all) {
  std::vector<const Census*> group;
  group.reserve(census.size());
  for (const Census& one : census) group.push_back(&one);
  differing_bits(group, all);
  cv::Mat best, side;
  for (const std::vector<int>& views : task.sides) {
    group.clear();
    for (const int view : views) group.push_back(&census[std::size_t(view)]);
    differing_bits(group, best.empty() ? best : side);
    if (!side.empty()) cv::min(best, side, best);
  }
  if (best.empty()) return;
  for (int row = 0; row < all.rows; ++row) {
    std::uint8_t* __restrict mean = all.ptr(row);
    const std::uint8_t* __restrict least = best.ptr(row);
    // Where no side has two views, all views say what there is to say.
    for (int column = 0; column < all.cols; ++column)
      mean[column] =
          least[column] == kUnknown ? mean[column] : std::uint8_t((mean[column] + least[column] + 1) / 2);
  }
}

/// Which hypotheses are in question where.
class Question {
 public:
  explicit Question(const Sweep& task) : task_(task), parts_(std::size_t(task.hypotheses)) {
    const cv::Rect whole({}, task.size);
    if (task.first.empty()) std::fill(parts_.begin(), parts_.end(), whole);
    for (int row = 0; row < task.size.height && !task.first.empty(); ++row) {
      // Of a row the first and the last column in question suffice.
      std::vector<int> left(parts_.size(), task.size.width), right(parts_.size(), -1);
      for (int column = 0; column < task.size.width; ++column)
        for (int k = first(row, column); k <= last(row, column); ++k) {
          left[std::size_t(k)] = std::min(left[std::size_t(k)], column);
          right[std::size_t(k)] = column;
        }
      for (std::size_t k = 0; k < parts_.size(); ++k)
        if (right[k] >= 0) parts_[k] |= cv::Rect(left[k], row, right[k] - left[k] + 1, 1);
    }
    for (cv::Rect& part : parts_)
      if (!part.empty())
        part = whole & cv::Rect(part.x - Census::kReach, part.y - Census::kReach,
                                part.width + 2 * Census::kReach, part.height + 2 * Census::kReach);
  }
  [[nodiscard]] int first(int row, int column) const {
    return task_.first.empty() ? 0 : std::max<int>(0, task_.first.at<short>(row, column));
  }
  [[nodiscard]] int last(int row, int column) const {
    return task_.last.empty() ? task_.hypotheses - 1
                              : std::min<int>(task_.hypotheses - 1, task_.last.at<short>(row, column));
  }
  /// Rectangle of all places where a hypothesis is in question, with their neighbourhoods; may be empty.
  [[nodiscard]] const cv::Rect& part(int hypothesis) const { return parts_[std::size_t(hypothesis)]; }

 private:
  const Sweep& task_;
  std::vector<cv::Rect> parts_;
};

/// `told` becomes the share of the hypotheses in question under which two views show a place.
CostVolume costs_of(const Sweep& task, const Question& question, cv::Mat& told) {
  told = cv::Mat::zeros(task.size, CV_32FC1);
  CostVolume volume{task.size, task.hypotheses, {}};
  volume.costs.resize(std::size_t(task.size.area()) * std::size_t(task.hypotheses));
  std::vector<Census> census(std::size_t(task.views));
  // A few hypotheses at a time, so that a place's costs are written side by side.
  constexpr int kTogether = 16;
  std::vector<cv::Mat> unlike(kTogether);
  cv::Mat grey, part;
  for (int first = 0; first < task.hypotheses; first += kTogether) {
    const int together = std::min(kTogether, task.hypotheses - first);
    for (int k = 0; k < together; ++k) {
      cv::Mat& steps = unlike[std::size_t(k)];
      steps.create(task.size, CV_8UC1);
      steps.setTo(kUnknown);
      const cv::Rect& where = question.part(first + k);
      if (where.empty()) continue;
      for (int view = 0; view < task.views; ++view) {
        task.look(view, first + k, where, grey);
        take_census(grey, census[std::size_t(view)]);
      }
      unlikeness(task, census, part);
      part.copyTo(steps(where));
    }
    for (int row = 0; row < task.size.height; ++row)
      for (int column = 0; column < task.size.width; ++column) {
        std::uint8_t* costs = volume.at(row, column) + first;
        float& count = told.at<float>(row, column);
        const int least = question.first(row, column), most = question.last(row, column);
        for (int k = 0; k < together; ++k) {
          const std::uint8_t steps = unlike[std::size_t(k)].at<std::uint8_t>(row, column);
          const bool is_out = first + k < least || first + k > most;
          count += steps != kUnknown && !is_out ? 1.0F / float(most - least + 1) : 0.0F;
          costs[k] = std::uint8_t((steps == kUnknown ? kRandomBits * kStepsPerBit : int(steps)) +
                                  (is_out ? kOutOfQuestion : 0));
        }
      }
  }
  return volume;
}

}  // namespace

SweepAnswer sweep(const Sweep& task) {
  SweepAnswer answer{
      cv::Mat(task.size, CV_32FC1), cv::Mat::zeros(task.size, CV_32FC1), cv::Mat(task.size, CV_32FC1), {}};
  const Question question(task);
  const CostVolume volume = costs_of(task, question, answer.told);
  const std::vector<std::int16_t> sums = aggregate(volume, {});
  constexpr float kRandomSum = 8.0F * kRandomBits * kStepsPerBit;
  for (int row = 0; row < task.size.height; ++row)
    for (int column = 0; column < task.size.width; ++column) {
      const std::int16_t* sum = sums.data() + (volume.at(row, column) - volume.costs.data());
      const int best = int(std::min_element(sum, sum + task.hypotheses) - sum);
      float& found = answer.hypothesis.at<float>(row, column);
      found = float(best);
      answer.unlike.at<float>(row, column) = float(volume.at(row, column)[best]) / kStepsPerBit;
      const int first = question.first(row, column), last = question.last(row, column);
      if (best <= first || best >= last) continue;
      const int curve = sum[best - 1] - 2 * sum[best] + sum[best + 1];
      if (curve > 0) found += 0.5F * float(sum[best - 1] - sum[best + 1]) / float(curve);
      int next = 32000;
      for (int k = first; k <= last; ++k)
        if (std::abs(k - best) > 2) next = std::min(next, int(sum[k]));
      answer.margin.at<float>(row, column) = float(next - sum[best]) / kRandomSum;
    }
  cv::blur(answer.unlike, answer.unlike, {kUnlikeSide, kUnlikeSide}, {-1, -1}, cv::BORDER_REPLICATE);
  return answer;
}

cv::Mat agreeing_views(const std::vector<cv::Mat>& shown, const std::vector<std::pair<int, int>>& pairs) {
  std::vector<Census> census(shown.size());
  for (std::size_t view = 0; view < shown.size(); ++view) take_census(shown[view], census[view]);
  std::vector<cv::Mat> has_partner(shown.size());
  cv::Mat bits, count = cv::Mat::zeros(shown.at(0).size(), CV_8UC1);
  for (cv::Mat& m : has_partner) m = cv::Mat::zeros(count.size(), CV_8UC1);
  for (const auto& [one, other] : pairs) {
    differing_bits(census[std::size_t(one)], census[std::size_t(other)], bits);
    const cv::Mat seen = bits != kUnknown;
    cv::blur(bits, bits, {kAgreeingSide, kAgreeingSide}, {-1, -1}, cv::BORDER_REPLICATE);
    const cv::Mat agree = (bits <= kMostBitsAgreeing) & seen;
    has_partner[std::size_t(one)] |= agree;
    has_partner[std::size_t(other)] |= agree;
  }
  for (const cv::Mat& m : has_partner) count += m & 1;
  return count;
}

}  // namespace lookdown::surface
