// What the ways to a datum share; private to this room.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "stages/place/datum/datum.h"

namespace lookdown::place {

inline constexpr double kMarkSigmaPx = 1.0;

/// Place of a record's frame in the group, -1 when it is not firmly there.
[[nodiscard]] int member_of(const Group&, const std::vector<TieFrame>&, int record);

/// Of the cameras above the ground, and the ground size of a pixel there, in the group's units.
[[nodiscard]] double median_height(const Group&);
[[nodiscard]] double typical_gsd(const Group&);

/// Best similarity in space (Umeyama, IEEE PAMI 13:376, 1991); empty when the points are fewer than three or
/// lie on a line.
[[nodiscard]] std::optional<SpaceSimilarity> best_similarity(const std::vector<Eigen::Vector3d>& from,
                                                             const std::vector<Eigen::Vector3d>& to);

/// Moves a group that was adjusted in space by `fit`, then to an origin of whole metres at `middle` (x, y)
/// and the mean height of its ground. Heights of its points are free from there on, for the mean plane need
/// not be level. Gives the datum, of which source and sigma are still to be told.
Datum settle_in_space(const SpaceSimilarity& fit, const Eigen::Vector3d& middle, Group&);

/// Adjusts the group anew, with what was given to it.
void readjust(Group&);

/// Empty where there is no such knowledge, or too little of it.
[[nodiscard]] std::optional<Datum> datum_from_control(const DatumInput&, Group&,
                                                      std::vector<std::string>& warnings);
[[nodiscard]] std::optional<Datum> datum_from_positions(const DatumInput&, Group&);

}  // namespace lookdown::place
