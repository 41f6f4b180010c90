/// @file
/// Angles are kept in radians where they are reckoned with and in degrees (`_deg`) where people read and
/// write them.
#pragma once

#include <numbers>

namespace lookdown {

/// One degree in radians: `4 * kDegree` is an angle in radians, `angle_rad / kDegree` its degrees.
inline constexpr double kDegree = std::numbers::pi / 180;

}  // namespace lookdown
