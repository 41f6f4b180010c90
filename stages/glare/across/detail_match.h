// Whether the fine detail of a surface is the same in two views. Sand, lawn, concrete and roofs stand still
// and match; the ripples and mirrored sky of water do not. Private to the stage (and its tests and
// benchmark).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::glare {

/// Side of the square tiles that are compared, in pixels of the detail.
inline constexpr int kDetailTilePx = 16;

/// What is finer than a few pixels in one picture.
struct Detail {
  cv::Mat even;   ///< CV_8UC1: 128 + detail over its own strength around, so that bright things weigh no more
  cv::Mat power;  ///< CV_32FC1, one value a tile: mean square of the detail in stored levels
};
[[nodiscard]] Detail detail_of(const cv::Mat& luma);

/// Another view's detail laid over the own frame.
struct LaidDetail {
  cv::Mat even;  ///< as Detail, own's pixels
  cv::Mat seen;  ///< CV_8UC1, one value a tile: 255 where the view looks at all of it
};

/// What detail says of a surface.
struct Motion {
  cv::Mat moving;  ///< CV_32FC1, log-odds of water that moves against ground that stands. 0 where no view
                   ///< looks, where there is no detail beyond noise to compare, and where what matches is as
                   ///< faint as what shows through calm water
  cv::Mat faint;  ///< CV_32FC1, share (0..1) of the surroundings that has next to no detail beside the ground
                  ///< that stands: calm water, or very smooth ground. 0 where no view looks
  cv::Mat looked;  ///< CV_32FC1, share (0..1) of the surroundings where a view looks
};

/// One frame's detail against that of other views, one after the other.
class DetailComparison {
 public:
  explicit DetailComparison(const Detail& own);

  /// Tiles that no view yet has shown to stand, and that few have looked at: CV_8UC1, 255; empty when they
  /// are too few to matter.
  [[nodiscard]] cv::Mat open() const;
  void add(LaidDetail other);

  /// Best correlation (-1..1, CV_32FC1) of each tile over the views, at the shift of at most some pixels that
  /// suits the tiles around best: placing errs by pixels, and ground is not quite flat. -1 where none looks.
  [[nodiscard]] const cv::Mat& correlation() const { return correlation_; }

  /// Of the own frame's pixels (size of `bgr`, CV_8UC3, the own frame at any size); spread within the
  /// surfaces of even colour that `bgr` shows.
  [[nodiscard]] Motion motion(const cv::Mat& bgr) const;

 private:
  [[nodiscard]] cv::Mat raised(const cv::Mat& unmatched) const;

  Detail own_;
  cv::Mat own_even_;  // CV_16SC1, about 0
  std::vector<LaidDetail> telling_;
  cv::Mat correlation_, looks_;  // looks_: CV_8UC1, views that have looked at a tile
};

}  // namespace lookdown::glare
