// Light that the surface reflects, seen in one picture: glitter is many small scattered specks, brighter than
// the water around them in the colour of their source; glint is the smooth clipped image of the source.
// Private to the stage (and its tests and benchmark).
#pragma once

#include <functional>
#include <opencv2/core.hpp>
#include <vector>

#include "stages/glare/picture/working_picture.h"
#include "stages/glare/water/look.h"
#include "stages/glare/water/patches.h"
#include "stages/glare/water/usual_look.h"

namespace lookdown::glare {

/// Where waves can mirror the sun, as far as something beside the picture tells. Empty plane: nothing is
/// known.
struct GlintPrior {
  cv::Mat odds;  ///< CV_32FC1, any size, stretched over the picture: log-odds that a bright thing there is
                 ///< glint, not something afloat. They shift thresholds a little; they never decide.
};

/// Reflected light hides what lies below when it is about as strong. Luminance (CV_32FC1) above which a pixel
/// is glare over water that itself leaves `water_leaving` (CV_32FC1, linear light).
[[nodiscard]] cv::Mat glare_threshold(const cv::Mat& water_leaving);
[[nodiscard]] float glare_threshold_over(float water_leaving);

/// Light from below the surface, CV_32FC1 luminance, half the working size: the dark side of the water within
/// some tens of pixels. Zero where there is no water (CV_8UC1, half size) around. `calm_bgr` as in
/// WorkingPicture.
[[nodiscard]] cv::Mat water_leaving_luminance(const cv::Mat& calm_bgr, const cv::Mat& water);

/// What is reflected by the water of one picture, all of working size, CV_8UC1, 0 or 255.
struct Glint {
  cv::Mat glitter;    ///< specks
  cv::Mat smooth;     ///< clipped patches without texture: the source itself, mirrored
  cv::Mat veil;       ///< broad patches below clipping, which other views show without: bright sky
  cv::Mat field;      ///< half the working size: where specks run together, which therefore is water
  cv::Mat threshold;  ///< CV_8UC1: stored luma above which a pixel of the frame is glare, near the above
  [[nodiscard]] cv::Mat any() const { return glitter | smooth | veil; }
};

/// The water that reflects, all half the working size.
struct Surface {
  cv::Mat water;                             ///< CV_8UC1, 0 or 255
  cv::Mat water_leaving;                     ///< CV_32FC1, luminance from below the surface
  const UsualLook& usual;                    ///< of the picture; it outlives this
  const Patches& patches;                    ///< of the picture; they outlive this
  std::function<std::vector<Look>()> looks;  ///< of the patches; asked for where there is a field
  cv::Mat told = {};  ///< CV_8UC1, 255 where other views tell the former. Empty: nowhere
  cv::Mat wet = {};   ///< the same where to them, too, it is water: there what is bright need not be small to
                      ///< be reflected. What stands off the plane they see past
};
[[nodiscard]] Glint find_glint(const WorkingPicture&, const Surface&, const GlintPrior& prior = {});

}  // namespace lookdown::glare
