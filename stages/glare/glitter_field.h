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

/// Where things that move are told from those that stand: what moves and lies densely over tens of pixels is
/// glitter. Log-odds from the share of the `water` around that is `bright` (both CV_8UC1), even at
/// `ordinary_share`.
[[nodiscard]] cv::Mat odds_of_density(const cv::Mat& bright, const cv::Mat& water, double ordinary_share);

/// Without one mirror point: waves glitter over a good part of the open water around, however thinly; the
/// frame of a boat lift, a boat, stones along a shore have their bright specks in one spot, and lone specks
/// are flecks, birds, foam. Log-odds from the share of cells of the `water` around that hold any `specks`
/// (both CV_8UC1), even at `ordinary_share`; open water counts more than what lies along its shores.
[[nodiscard]] cv::Mat odds_of_spread(const cv::Mat& specks, const cv::Mat& water, double ordinary_share);

/// Facets that mirror the sun thin out slowly from the mirror point: what lies much more densely than all
/// that is bright on the open water around is a boat, bars, crust or stones. Log-odds, at most 0, from the
/// share of `bright` pixels near by over that in the `water` far around (both CV_8UC1).
[[nodiscard]] cv::Mat odds_of_evenness(const cv::Mat& bright, const cv::Mat& water);

/// Those `bright` things (CV_8UC1) that are not thin, with a rim: crust, boards, boats.
[[nodiscard]] cv::Mat solid_things(const cv::Mat& bright);

/// Where waves mirror the sun. When one mirror point explains the specks (sun_from_glint with a camera of
/// usual focal length that looks straight down: only the shape counts), the odds follow the facets' density
/// about it; else how widely they are spread, compared with `ordinary_share`, the share of cells at which
/// specks are as likely flecks.
/// `bright`: all strong light, thin or not; `solid`: as solid_things.
struct GlitterField {
  GlintPrior place;
  cv::Mat sure;  ///< CV_8UC1, 255 where half of the cells around hold bright things: no flecks do
};
[[nodiscard]] GlitterField glitter_field(const cv::Mat& specks, const cv::Mat& bright, const cv::Mat& solid,
                                         const cv::Mat& water, double ordinary_share);

}  // namespace lookdown::glare
