#include "stages/surface/steps/carried_on.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::surface {
namespace {

constexpr int kFitReach = 12, kFitStride = 2;  ///< places, from the one that is carried on
constexpr double kFarthest = 8;                ///< places over which a slope goes on
/// Of a slope that is nought against what the fit says: places in a line tell no slope across it.
constexpr double kLevelCounts = 0.1;

}  // namespace

SlopesOfPlaces::SlopesOfPlaces(const cv::Mat& heights, const cv::Mat& there)
    : heights_(heights), there_(there), slopes_(heights.size(), CV_32FC2, cv::Scalar::all(NAN)) {}

cv::Vec2f SlopesOfPlaces::slope_at(cv::Point source) const {
  // Least squares about the source's own height.
  const cv::Rect whole({}, heights_.size());
  double xx = 0, xy = 0, yy = 0, xh = 0, yh = 0;
  int count = 0;
  for (int dy = -kFitReach; dy <= kFitReach; dy += kFitStride)
    for (int dx = -kFitReach; dx <= kFitReach; dx += kFitStride) {
      const cv::Point at = source + cv::Point(dx, dy);
      if (!whole.contains(at) || !there_.at<uchar>(at)) continue;
      const double rise = double(heights_.at<float>(at)) - double(heights_.at<float>(source));
      xx += dx * dx, xy += dx * dy, yy += dy * dy, xh += dx * rise, yh += dy * rise;
      ++count;
    }
  const double level = kLevelCounts * count * kFitReach * kFitReach / 3 + 1;
  xx += level, yy += level;
  const double determinant = xx * yy - xy * xy;
  return {float((yy * xh - xy * yh) / determinant), float((xx * yh - xy * xh) / determinant)};
}

float SlopesOfPlaces::carried(cv::Point from, cv::Point to) {
  cv::Vec2f& slope = slopes_.at<cv::Vec2f>(from);
  if (std::isnan(slope[0])) slope = slope_at(from);
  const cv::Point way = to - from;
  const double share = std::min(1.0, kFarthest / std::max(1.0, std::hypot(way.x, way.y)));
  return heights_.at<float>(from) + float(share) * (slope[0] * float(way.x) + slope[1] * float(way.y));
}

cv::Mat carried_on(const cv::Mat& heights, const cv::Mat& there, const cv::Mat& where) {
  cv::Mat result = heights.clone(), distance, labels;
  if (cv::countNonZero(there) == 0) return result;
  cv::distanceTransform(there == 0, distance, labels, cv::DIST_L2, cv::DIST_MASK_5, cv::DIST_LABEL_PIXEL);
  std::vector<cv::Point> sources(there.total() + 1);
  for (int row = 0; row < there.rows; ++row)
    for (int column = 0; column < there.cols; ++column)
      if (there.at<uchar>(row, column)) sources[std::size_t(labels.at<int>(row, column))] = {column, row};
  SlopesOfPlaces planes(heights, there);
  for (int row = 0; row < there.rows; ++row)
    for (int column = 0; column < there.cols; ++column)
      if (where.at<uchar>(row, column) && !there.at<uchar>(row, column))
        result.at<float>(row, column) =
            planes.carried(sources[std::size_t(labels.at<int>(row, column))], {column, row});
  return result;
}

}  // namespace lookdown::surface
