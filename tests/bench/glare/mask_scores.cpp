#include "mask_scores.h"

#include <fmt/format.h>

#include <algorithm>

namespace scoring {

void Score::add(const cv::Mat& found_glare, const cv::Mat& found_water, const cv::Mat& true_glare,
                const cv::Mat& left_out, const cv::Mat& true_water, const cv::Mat& true_crust) {
  const auto count = [](const cv::Mat& m) { return static_cast<double>(cv::countNonZero(m)); };
  const cv::Mat glare = found_glare & ~left_out, land = ~true_water;
  hit_ += count(glare & true_glare);
  false_alarm_ += count(glare & ~true_glare);
  missed_ += count(~glare & true_glare);
  dry_alarm_ += count(glare & land);
  dry_ += count(land);
  crust_alarm_ += count(glare & true_crust);
  crust_ += count(true_crust);
  water_hit_ += count(found_water & true_water);
  water_false_ += count(found_water & land);
  water_missed_ += count(~found_water & true_water);
}

void Score::print(const char* name) const {
  fmt::print(
      "  {:<26} IoU {:.3f}  precision {:.3f}  recall {:.3f}  on dry land {:.3f} %  on crust {:.3f} %  water "
      "IoU {:.3f} (missed {:.1f} %, of dry ground {:.2f} %)\n",
      name, hit_ / std::max(1.0, hit_ + false_alarm_ + missed_), hit_ / std::max(1.0, hit_ + false_alarm_),
      hit_ / std::max(1.0, hit_ + missed_), 100 * dry_alarm_ / std::max(1.0, dry_),
      100 * crust_alarm_ / std::max(1.0, crust_), water_iou(),
      100 * water_missed_ / std::max(1.0, water_hit_ + water_missed_),
      100 * water_false_ / std::max(1.0, dry_));
}

double Score::water_iou() const {
  return water_hit_ / std::max(1.0, water_hit_ + water_false_ + water_missed_);
}

void Threshold::add(const cv::Mat& bgr, const cv::Mat& true_glare, const cv::Mat& left_out) {
  for (int y = 0; y < bgr.rows; y += 2)
    for (int x = 0; x < bgr.cols; x += 2) {
      if (left_out.at<uchar>(y, x)) continue;
      const cv::Vec3b& v = bgr.at<cv::Vec3b>(y, x);
      const int most = std::max({v[0], v[1], v[2]}), least = std::min({v[0], v[1], v[2]});
      const int saturation = most ? 63 * (most - least) / most : 0;
      (true_glare.at<uchar>(y, x)
           ? yes_
           : no_)[static_cast<std::size_t>(most / 4)][static_cast<std::size_t>(saturation)] += 1;
    }
}

void Threshold::print(const char* name) const {
  double best = 0, all = 0;
  std::size_t best_value = 0, best_saturation = 0;
  for (const auto& row : yes_)
    for (const double n : row) all += n;
  for (std::size_t value = 0; value < 64; ++value) {
    double hit = 0, alarm = 0;
    for (std::size_t saturation = 0; saturation < 64; ++saturation) {
      for (std::size_t v = value; v < 64; ++v) hit += yes_[v][saturation], alarm += no_[v][saturation];
      const double iou = hit / std::max(1.0, all + alarm);
      if (iou > best) best = iou, best_value = 4 * value, best_saturation = saturation;
    }
  }
  fmt::print("  {:<26} IoU {:.3f}  (value >= {}, saturation <= {:.2f}, tuned on these very pictures)\n", name,
             best, best_value, static_cast<double>(best_saturation) / 63);
}

}  // namespace scoring
