// Glint in one picture, before anything is known of the sun: glitter is many specks whose number rises toward
// one place. Private to the stage (and its tests).
#pragma once

#include <opencv2/core.hpp>

#include "stages/glare/added_light.h"
#include "stages/glare/glare_search.h"

namespace lookdown::glare {

/// Those connected `places` more than half of whose rim adjoins `field` (CV_8UC1, 0 or 255).
[[nodiscard]] cv::Mat enclosed_by(const cv::Mat& field, const cv::Mat& places);

/// Where light and dark lie side by side all over, as in glitter, and the clipped midst of such places
/// (CV_8UC1, 255). Smooth bottom, the inside of a board or a boat, and broad crust are not.
/// `least_roughness`: mean logarithm of light over light without thin things.
[[nodiscard]] cv::Mat glitter_texture(const WorkingPicture&, double least_roughness);

/// Source-coloured light that is clearly stronger than the water below (CV_8UC1, 255).
[[nodiscard]] cv::Mat strong_light(const AddedLight&);

/// Bright specks on the water (CV_8UC1, 255): source-coloured, stronger than the water below, thin and short,
/// as facets of waves are.
[[nodiscard]] cv::Mat specks_on_water(const WorkingPicture&, const AddedLight&, const cv::Mat& water);

/// Without one mirror point: glitter is dense over tens of pixels; lone specks are flecks, birds, foam.
/// Log-odds from the share of the `water` around that is specks (both CV_8UC1), even at `ordinary_share`.
[[nodiscard]] cv::Mat odds_of_density(const cv::Mat& specks, const cv::Mat& water, double ordinary_share);

/// Where waves mirror the sun. When one mirror point explains the specks (sun_from_glint with a camera of
/// usual focal length that looks straight down: only the shape counts), the odds follow the facets' density
/// about it; else how densely they lie, compared with `ordinary_share`, the share of the water at which
/// specks are as likely flecks.
[[nodiscard]] GlintPrior glitter_field(const cv::Mat& specks, const cv::Mat& water, double ordinary_share);

}  // namespace lookdown::glare
