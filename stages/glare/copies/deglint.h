// Glare in one frame replaced by what other frames really show of the same ground. Private to the stage (and
// its tests).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::glare {

/// Another frame laid over the one to be filled.
struct Donor {
  cv::Mat bgr;    ///< CV_8UC3
  cv::Mat glare;  ///< CV_8UC1, 255 = glare there
  cv::Mat seen;   ///< CV_8UC1, 255 where the donor looks
};

/// Where the pixels of a filled frame come from.
inline constexpr unsigned char kOwnPixel = 0, kGlareLeft = 128, kFilled = 255;

struct Filled {
  cv::Mat bgr;     ///< CV_8UC3: own pixels, and donors' where own ones glare and a donor's do not
  cv::Mat origin;  ///< CV_8UC1: kOwnPixel, kFilled, or kGlareLeft where every donor glares too or none looks
};

/// Fills `glare` (CV_8UC1) in `bgr` from the donors, the one that fills most first. A donor's pixels are
/// scaled, channel by channel, to the own ones around the hole (median ratio), so that exposures meet;
/// nothing is smoothed, blended or made up.
[[nodiscard]] Filled fill_from(const cv::Mat& bgr, const cv::Mat& glare, const std::vector<Donor>& donors);

}  // namespace lookdown::glare
