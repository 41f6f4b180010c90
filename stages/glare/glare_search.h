// The search in one picture, on plain matrices: what `find` does between reading pixels and writing masks.
// Private to the stage (and to its tests and its training program).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

namespace lookdown::glare {

/// Long side of the copy that the search works on.
inline constexpr int kWorkingLongSidePx = 1024;

/// Below this chance of water nothing is asked about glare.
inline constexpr float kLeastWaterChance = 0.04f;

/// What is known about where waves can mirror the sun. Empty plane: nothing.
struct GlintPrior {
  cv::Mat odds;  ///< CV_32FC1, any size, stretched over the picture: log-odds that a bright thing there is
                 ///< glint, not something afloat
};

/// One number per pixel and feature.
struct FeaturePlanes {
  std::vector<cv::Mat> planes;  ///< CV_32FC1, all of the working size
};

/// A picture prepared for the search.
struct WorkingPicture {
  cv::Mat bgr;         ///< CV_8UC3
  cv::Mat linear;      ///< CV_32FC3, linear light 0..1 (sRGB curve undone), blue green red
  cv::Mat light;       ///< CV_32FC1, luminance of `linear`
  cv::Mat calm_bgr;    ///< CV_32FC3, linear light with small bright specks opened away
  cv::Mat calm_light;  ///< CV_32FC1
};
[[nodiscard]] WorkingPicture prepare(const cv::Mat& bgr);
/// Luminance in linear light alone (CV_32FC1, same size).
[[nodiscard]] cv::Mat light_of(const cv::Mat& bgr);

/// Features that tell water from land whatever glitters on it.
/// Half the working size.
[[nodiscard]] FeaturePlanes water_features(const WorkingPicture&);
/// The same with what a first answer says of the surroundings (both half the working size).
[[nodiscard]] FeaturePlanes water_context_features(const FeaturePlanes& look, const cv::Mat& first_chance);
/// Chance 0..1 that a pixel belongs to a water surface, glare included.
[[nodiscard]] cv::Mat water_chance(const WorkingPicture&);

/// The water's own colour as it would be seen without reflections: CV_32FC3 linear light, from the dark side
/// of the water pixels of the same pond. Zero where there is no water in the picture.
struct OwnColour {
  cv::Mat near;  ///< from the closest surroundings: follows the bottom, rises where glare fills them
  cv::Mat wide;  ///< from a third of the picture around
};
[[nodiscard]] OwnColour own_colour(const WorkingPicture&, const cv::Mat& water);

/// Result of the search at working size.
struct SearchResult {
  cv::Mat water;  ///< CV_32FC1 chance
  cv::Mat glare;  ///< CV_32FC1 chance, 0 outside water
  cv::Mat base;   ///< CV_32FC1, luminance of the water without what it mirrors, linear light; 0 without water
  cv::Mat limit;  ///< CV_8UC1: stored brightness above which a pixel is glare, where it is water
  cv::Mat dark;   ///< CV_8UC3, small, stretched over the picture: the water's own colour near by, as stored
};
[[nodiscard]] SearchResult search_picture(const cv::Mat& bgr, const GlintPrior& prior = {});

/// Masks at the size of `guide` (CV_8UC1, the frame's brightness as stored): water where its chance is above
/// one half, glare where it is brighter than `limit` besides. What glares is water.
struct Masks {
  cv::Mat water, glare;
};
[[nodiscard]] Masks masks_above(const cv::Mat& water_chance, const cv::Mat& limit, const cv::Mat& guide);

}  // namespace lookdown::glare
