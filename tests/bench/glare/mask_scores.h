// Counts of pixels by what they are and what they were called, and the plain threshold to compare with.
#pragma once

#include <array>
#include <opencv2/core.hpp>

namespace scoring {

/// All masks CV_8UC1, 0 or 255, of one size.
class Score {
 public:
  void add(const cv::Mat& found_glare, const cv::Mat& found_water, const cv::Mat& true_glare,
           const cv::Mat& left_out, const cv::Mat& true_water, const cv::Mat& true_crust);
  void print(const char* name) const;
  [[nodiscard]] double water_iou() const;

 private:
  double hit_ = 0, false_alarm_ = 0, missed_ = 0, dry_alarm_ = 0, dry_ = 0, crust_alarm_ = 0, crust_ = 0,
         water_hit_ = 0, water_false_ = 0, water_missed_ = 0;
};

/// "Glare is bright and pale", with the two limits that score best on the truth itself.
class Threshold {
 public:
  void add(const cv::Mat& bgr, const cv::Mat& true_glare, const cv::Mat& left_out);
  void print(const char* name) const;

 private:
  std::array<std::array<double, 64>, 64> yes_{}, no_{};  // value / 4, saturation x 63
};

}  // namespace scoring
