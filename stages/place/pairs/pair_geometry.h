// Do two frames show the same ground, and which spots are the same: alike spots that one plane-induced
// homography explains. Acceptance after Brown & Lowe, IJCV 74:59-73 (2007): more than 8 + 0.3 n of the n
// matches in the overlap agree.
#pragma once

#include <optional>

#include "stages/place/features/image_features.h"

namespace lookdown::place {

/// How much effort a comparison may cost.
enum class Look {
  first,    ///< the leading spots only: a few milliseconds
  thorough  ///< all spots
};

/// How far, in pixels of the searched copy, a match may lie from the homography. The lens distortion is not
/// yet known when pairs are first looked at, and relief leans: both are settled later by the adjustment.
inline constexpr double kHomographyTolerance = 5.0;

/// Ties two frames without knowing where they lie. `a` and `b` are indices to be written into the tie.
[[nodiscard]] std::optional<Tie> tie_unguided(const std::vector<TieFrame>&, int a, int b, Look);

/// Ties two frames whose relation is roughly known: spots are compared only within `radius` of where they are
/// expected, and may lie `tolerance` from the homography (both pixels of the searched copy).
[[nodiscard]] std::optional<Tie> tie_guided(const std::vector<TieFrame>&, int a, int b,
                                            const Eigen::Matrix3d& b_from_a, double radius,
                                            double tolerance = kHomographyTolerance);

/// Ties two frames by matches already found: more than 8 + `least_share` n of the n matches in the overlap
/// must agree. Places 0 and 1 are written into the tie.
[[nodiscard]] std::optional<Tie> tie_by_matches(const TieFrame& a, const TieFrame& b,
                                                const std::vector<Match>&, double least_share);

/// Where the spots of frame a are expected in frame b by a homography of undistorted pixels.
[[nodiscard]] std::vector<Expectation> expect(const TieFrame& a, const TieFrame& b,
                                              const Eigen::Matrix3d& b_from_a);

/// Share of frame a that lies inside frame b (0..1).
[[nodiscard]] double overlap_share(const TieFrame& a, const TieFrame& b, const Eigen::Matrix3d& b_from_a);

}  // namespace lookdown::place
