// What a surface looks like, in numbers: of pixels and of patches. Private to the stage.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

#include "stages/glare/picture/working_picture.h"
#include "stages/glare/water/patches.h"

namespace lookdown::glare {

/// Natural logarithms of linear light, CV_32FC1, half the working size, specks taken out.
struct CalmColour {
  cv::Mat luminance, red, red_green, blue_green;
};
[[nodiscard]] CalmColour colour_of(const cv::Mat& calm_bgr);

/// By how much (share of white as stored, at least 0; CV_32FC1, half the working size) a pixel is darker than
/// its surroundings of a few pixels: shade between leaves, blades, stones, shingles. Not relative to how
/// bright it is: what moves on water is light that it mirrors, which adds to its own, and noise is about even
/// in stored levels.
[[nodiscard]] cv::Mat darker_than_around(const WorkingPicture&);
/// Change of the ratio of red to green over some pixels, as a logarithm, at least 0.
[[nodiscard]] cv::Mat uneven_colour(const CalmColour&);

/// What is measured of a picture once, for all that judges by it.
struct SurfaceLook {
  CalmColour colour;
  cv::Mat lab;          ///< CIE L*a*b* of the calm picture, CV_32FC3
  cv::Mat dark_detail;  ///< darker_than_around
  cv::Mat uneven;       ///< uneven_colour
};
[[nodiscard]] SurfaceLook surface_look(const WorkingPicture&);

/// The look of one patch: logarithms of dark detail, of unevenness of colour and of the detail of two octaves
/// (stored levels, root mean square; of 1 and 2 px), and its colour.
inline constexpr std::size_t kLookNumbers = 8;
using Look = std::array<float, kLookNumbers>;
/// One a patch of `picture.calm_bgr`.
[[nodiscard]] std::vector<Look> looks_of(const WorkingPicture& picture, const SurfaceLook&, const Patches&);
/// A picture (its calm half) in patches, and the look of each.
struct SeenPatches {
  Patches patches;
  std::vector<Look> looks;
};
[[nodiscard]] SeenPatches seen_patches(const WorkingPicture&, const SurfaceLook&);

/// The same patch in a picture of exposure 1; `log_exposure`: natural logarithm of that which it has.
[[nodiscard]] Look at_mean_exposure(Look, double log_exposure);

}  // namespace lookdown::glare
