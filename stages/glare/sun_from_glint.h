// The sun's place and the roughness of the water from a flight's own glint: a facet mirrors the sun only
// where it leans by half the angle between sun and view, so that all that glitters in a flight points to one
// sun. Private to the stage (and its tests and benchmark).
#pragma once

#include <Eigen/Core>
#include <functional>
#include <optional>
#include <vector>

#include "stages/glare/glare_search.h"
#include "stages/glare/view_comparison.h"

namespace lookdown::glare {

/// Water seen from one direction: how much of it glints.
struct GlintSample {
  Eigen::Vector3d to_viewer;  ///< unit, world axes, z up
  double glint_share = 0;     ///< of the water, 0..1
  double weight = 1;          ///< number of independent looks
};

/// What a flight's glint says. Share of water that glints = background + peak * exp(-tan^2 b / s2), with b
/// and s2 as in facet_density (Cox & Munk, J. Opt. Soc. Am. 44:838, 1954).
struct GlintSun {
  Eigen::Vector3d to_sun;  ///< unit, world axes of the placement
  double mean_square_slope = 0;
  double peak_rate = 0;
  double background_rate = 0;  ///< what else is taken for glint
  double evidence = 0;         ///< log-likelihood beyond that of glint spread evenly
  /// Log-odds that what is bright on water seen from there is glint: the rate of glint there over that of
  /// what else looks like it.
  [[nodiscard]] double odds(const Eigen::Vector3d& to_viewer) const;
  /// Density of facets that mirror the sun there, relative to its peak.
  [[nodiscard]] double facets(const Eigen::Vector3d& to_viewer) const;
};

struct SkySearch {
  double step_deg = 5;                  ///< between the first guesses
  double direction_step = 0.02;         ///< views whose directions differ by less (sines) count as one
  std::optional<double> elevation_rad;  ///< when known: a ring
};

/// The sun that explains the samples best, sought over all directions above 15 degrees. Empty unless
/// it explains them clearly better than glint spread evenly does.
[[nodiscard]] std::optional<GlintSun> sun_from_glint(const std::vector<GlintSample>&, const SkySearch& = {});

/// The sun of a group of frames: a first guess from what each shows beyond the others, and a second that
/// knows where each looks into the glitter. `samples_of(frame, fields)`: samples of one frame, all of whose
/// fields (as SearchedFrame::field, by frame) are empty at first; called from several threads for different
/// frames by `for_each(count, body)`. `fields` holds those of the answer, when there is one.
[[nodiscard]] std::optional<GlintSun> sun_of_views(
    const std::vector<PlacedCamera>& places, const SkySearch& search,
    const std::function<std::vector<GlintSample>(int, const std::vector<cv::Mat>&)>& samples_of,
    const std::function<void(std::size_t, const std::function<void(std::size_t)>&)>& for_each,
    std::vector<cv::Mat>& fields);

/// Samples of one frame, from what it shows beyond the others.
[[nodiscard]] std::vector<GlintSample> glint_samples(const ViewExcess&, const PlacedCamera&);

/// The same at half the working size, for one of the frames of a flight: `views` as from choose_views,
/// `frame` gives a searched frame.
[[nodiscard]] std::vector<GlintSample> glint_samples(int index, const std::vector<std::vector<int>>& views,
                                                     const std::vector<PlacedCamera>& places,
                                                     const std::function<SearchedFrame(int)>& frame);

/// The sun as a prior for a frame.
[[nodiscard]] GlintPrior glint_prior(const GlintSun&, const PlacedCamera&, cv::Size working_size);

/// Where a frame looks into the glitter (as SearchedFrame::field, small): facets that mirror the sun are more
/// than a twentieth as dense as at the mirror point.
[[nodiscard]] cv::Mat glitter_of(const GlintSun&, const PlacedCamera&);

}  // namespace lookdown::glare
