#include "stages/mosaic/roofs/plane_sweep.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::mosaic {
namespace {

/// Canvas cells from cells of the frame's ground picture, for what lies `height_px` up.
cv::Matx23d picture_from_cells(const FrameView& view, const Survey& survey, const cv::Rect& box,
                               double height_px) {
  const double factor = view.height_px / (view.height_px - height_px);
  const auto along = [&](double nadir_px, int first_cell) {
    const double nadir = (nadir_px + 0.5) / survey.cell_px - 0.5;
    return nadir * (1 - factor) - first_cell;
  };
  return {factor, 0, along(view.nadir_x_px, box.x), 0, factor, along(view.nadir_y_px, box.y)};
}

Scatter finished(const cv::Mat& sum, const cv::Mat& squares, const cv::Mat& count) {
  Scatter scatter{cv::Mat(sum.size(), CV_32FC1, cv::Scalar(-1)),
                  cv::Mat(sum.size(), CV_32FC1, cv::Scalar(0))};
  cv::Mat variance(sum.size(), CV_32FC1, cv::Scalar(0)), known(sum.size(), CV_32FC1, cv::Scalar(0));
  for (int row = 0; row < sum.rows; ++row)
    for (int column = 0; column < sum.cols; ++column) {
      const float times = count.at<float>(row, column);
      if (times < 1) continue;
      const float mean = sum.at<float>(row, column) / times;
      scatter.mean.at<float>(row, column) = mean;
      if (times < 2) continue;
      variance.at<float>(row, column) =
          std::max(0.0F, squares.at<float>(row, column) / times - mean * mean) * times / (times - 1);
      known.at<float>(row, column) = 1;
    }
  cv::Mat smooth, share;
  cv::boxFilter(variance, smooth, CV_32F, {5, 5}, {-1, -1}, false, cv::BORDER_CONSTANT);
  cv::boxFilter(known, share, CV_32F, {5, 5}, {-1, -1}, false, cv::BORDER_CONSTANT);
  for (int row = 0; row < sum.rows; ++row)
    for (int column = 0; column < sum.cols; ++column)
      if (known.at<float>(row, column) > 0)
        scatter.deviation.at<float>(row, column) =
            std::sqrt(smooth.at<float>(row, column) / share.at<float>(row, column));
  return scatter;
}

}  // namespace

cv::Mat evidence(const Scatter& ground, const Scatter& raised) {
  cv::Mat gain = ground.deviation - raised.deviation;
  gain.setTo(0, (ground.deviation < 0) | (raised.deviation < 0));
  return gain;
}

bool agree_better(const Scatter& ground, const Scatter& raised, const cv::Mat& area) {
  constexpr double kScatterLeft = 0.6, kPartOfArea = 0.7;
  const cv::Mat known = area & (ground.deviation >= 0) & (raised.deviation >= 0);
  const cv::Mat better = (evidence(ground, raised) > 0) & known;
  return cv::countNonZero(known) > 0 &&
         cv::mean(raised.deviation, known)[0] < kScatterLeft * cv::mean(ground.deviation, known)[0] &&
         cv::countNonZero(better) > kPartOfArea * cv::countNonZero(known);
}

HeightSweep::HeightSweep(const std::vector<FrameView>& views, const Survey& survey)
    : views_(views), survey_(survey) {
  std::vector<double> heights;
  for (std::size_t i = 0; i < views.size(); ++i) {
    cv::Mat grey;
    if (!survey.frames[i].bgr.empty() && !views[i].fills)
      cv::cvtColor(survey.frames[i].bgr, grey, cv::COLOR_BGR2GRAY);
    grey_.push_back(grey);
    const cv::Mat& glare = survey.frames[i].glare;
    known_.push_back(glare.empty() ? survey.frames[i].usable
                                   : cv::Mat(survey.frames[i].usable & (glare == 0)));
    heights.push_back(views[i].height_px);
  }
  usual_height_px_ = median_in_place(heights);
}

Scatter HeightSweep::at(double height_px, const cv::Rect& region) const {
  const cv::Size size = region.size();
  cv::Mat sum(size, CV_32FC1, cv::Scalar(0)), squares = sum.clone(), count = sum.clone();
  for (std::size_t i = 0; i < views_.size(); ++i) {
    const SurveyFrame& frame = survey_.frames[i];
    if (grey_[i].empty() || views_[i].height_px <= 1.5 * height_px) continue;
    cv::Matx23d from = picture_from_cells(views_[i], survey_, frame.box, height_px);
    from(0, 2) += from(0, 0) * region.x;
    from(1, 2) += from(1, 1) * region.y;
    // Cells whose fetched place lies in the frame's box: the box shrunk about the nadir.
    const auto back = [&](double place, int axis) { return (place - from(axis, 2)) / from(axis, axis); };
    const cv::Rect reach = cv::Rect(cv::Point(static_cast<int>(std::floor(back(0, 0))),
                                              static_cast<int>(std::floor(back(0, 1)))),
                                    cv::Point(static_cast<int>(std::ceil(back(frame.box.width, 0))),
                                              static_cast<int>(std::ceil(back(frame.box.height, 1))))) &
                           cv::Rect({}, size);
    if (reach.empty()) continue;
    const cv::Matx23d local(from(0, 0), 0, from(0, 2) + from(0, 0) * reach.x, 0, from(1, 1),
                            from(1, 2) + from(1, 1) * reach.y);
    cv::Mat grey, usable, value, seen;
    cv::warpAffine(grey_[i], grey, local, reach.size(), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                   cv::BORDER_REPLICATE);
    cv::warpAffine(known_[i], usable, local, reach.size(), cv::INTER_NEAREST | cv::WARP_INVERSE_MAP,
                   cv::BORDER_CONSTANT);
    grey.convertTo(value, CV_32F);
    usable.convertTo(seen, CV_32F, 1.0 / 255);
    sum(reach) += value.mul(seen);
    squares(reach) += value.mul(value).mul(seen);
    count(reach) += seen;
  }
  return finished(sum, squares, count);
}

}  // namespace lookdown::mosaic
