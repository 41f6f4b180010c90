// Heights carried on beyond where they are known.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::surface {

/// Planes that fit known heights (CV_32FC1; `there`, CV_8UC1, is not 0 where they are known) around each
/// known place, made when asked for. Both must outlive this.
class SlopesOfPlaces {
 public:
  SlopesOfPlaces(const cv::Mat& heights, const cv::Mat& there);
  /// Height at `to` of the plane at the known place `from`, which goes on for a while and is level then.
  [[nodiscard]] float carried(cv::Point from, cv::Point to);

 private:
  [[nodiscard]] cv::Vec2f slope_at(cv::Point) const;
  cv::Mat heights_, there_, slopes_;
};

/// Carries the heights of some places on from the nearest of them: a roof goes on down to its eaves, a bank
/// down to the wall's foot. Elsewhere than `where` (CV_8UC1), and where there are none, the heights stay.
[[nodiscard]] cv::Mat carried_on(const cv::Mat& heights, const cv::Mat& there, const cv::Mat& where);

}  // namespace lookdown::surface
