// The sun's place and the roughness of the water from a flight's own glint: a facet mirrors the sun only
// where it leans by half the angle between sun and view, so that all that glitters in a flight points to one
// sun. Private to the stage (and its tests and benchmark).
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "stages/glare/across/view_comparison.h"
#include "stages/glare/glare_search.h"

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
  double sigma_rad = 0;        ///< of `to_sun` where it is known least, standard deviation
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
  double least_evidence = 25;           ///< below, what glints may be chance
};

/// The sun that explains the samples best, sought over all directions above 15 degrees. Empty unless
/// it explains them clearly better than glint spread evenly does.
[[nodiscard]] std::optional<GlintSun> sun_from_glint(const std::vector<GlintSample>&, const SkySearch& = {});

/// Samples of one frame, from what the search in it calls glare.
[[nodiscard]] std::vector<GlintSample> glint_samples(const SearchedFrame&, const PlacedCamera&);

/// Log-odds that what is bright is glint where facets that mirror the sun are so dense, relative to their
/// peak.
[[nodiscard]] float odds_of_facets(double relative_density);

/// The sun as a prior for a frame.
[[nodiscard]] GlintPrior glint_prior(const GlintSun&, const PlacedCamera&, cv::Size working_size);

/// Where a frame looks into the glitter (as SearchedFrame::field, small): facets that mirror the sun are more
/// than a twentieth as dense as at the mirror point.
[[nodiscard]] cv::Mat glitter_of(const GlintSun&, const PlacedCamera&);

}  // namespace lookdown::glare
