#include "stages/glare/copies/deglint.h"

#include <algorithm>
#include <array>
#include <opencv2/imgproc.hpp>

namespace lookdown::glare {
namespace {

cv::Mat with_rim(const cv::Mat& mask, int by_px) {
  cv::Mat out;
  cv::dilate(mask, out, cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * by_px + 1, 2 * by_px + 1}));
  return out;
}

// Own over donor, channel by channel, from clean pixels that both show within a few pixels of what is to be
// filled.
std::array<double, 3> ratio_around(const cv::Mat& own, const cv::Mat& donor, const cv::Mat& near,
                                   const cv::Mat& clean) {
  std::array<std::vector<float>, 3> ratios;
  for (int y = 0; y < own.rows; ++y)
    for (int x = 0; x < own.cols; ++x) {
      if (!near.at<uchar>(y, x) || !clean.at<uchar>(y, x)) continue;
      const cv::Vec3b &a = own.at<cv::Vec3b>(y, x), &b = donor.at<cv::Vec3b>(y, x);
      for (int c = 0; c < 3; ++c)
        if (a[c] > 4 && a[c] < 250 && b[c] > 4 && b[c] < 250)
          ratios[c].push_back(static_cast<float>(a[c]) / static_cast<float>(b[c]));
    }
  std::array<double, 3> ratio{1, 1, 1};
  for (int c = 0; c < 3; ++c) {
    auto& list = ratios[c];
    if (list.size() < 50) continue;
    std::nth_element(list.begin(), list.begin() + static_cast<long>(list.size() / 2), list.end());
    ratio[c] = std::clamp<double>(list[list.size() / 2], 0.5, 2.0);
  }
  return ratio;
}

}  // namespace

Filled fill_from(const cv::Mat& bgr, const cv::Mat& glare, const std::vector<Donor>& donors) {
  // A glint's skirt reaches a little beyond the mask, in donors too.
  constexpr int kSkirtPx = 2, kAroundPx = 12;
  const cv::Mat hole = with_rim(glare, kSkirtPx);
  Filled filled{bgr.clone(), cv::Mat(bgr.size(), CV_8UC1, cv::Scalar(kOwnPixel))};
  std::vector<cv::Mat> usable;
  std::vector<std::pair<int, std::size_t>> order;
  for (const Donor& donor : donors) {
    usable.push_back(donor.seen & ~with_rim(donor.glare, kSkirtPx));
    order.emplace_back(-cv::countNonZero(usable.back() & hole), usable.size() - 1);
  }
  std::sort(order.begin(), order.end());
  cv::Mat left = hole.clone();
  const cv::Mat near = with_rim(hole, kAroundPx);
  for (const auto& [unused, i] : order) {
    const cv::Mat take = left & usable[i];
    if (cv::countNonZero(take) == 0) continue;
    const auto ratio = ratio_around(bgr, donors[i].bgr, near, usable[i] & ~hole);
    cv::Mat scaled;
    cv::multiply(donors[i].bgr, cv::Scalar(ratio[0], ratio[1], ratio[2]), scaled);
    scaled.copyTo(filled.bgr, take);
    filled.origin.setTo(kFilled, take);
    left &= ~take;
  }
  filled.origin.setTo(kGlareLeft, left & glare);
  return filled;
}

}  // namespace lookdown::glare
