// The turn that brings a frame as stored to a frame as displayed (Exif orientation 1..8, CIPA DC-008).
#pragma once

#include <Eigen/Core>

namespace lookdown::level {

/// 2x2 matrix, displayed direction from stored direction (x right, y down); values other than 1..8 count
/// as 1.
[[nodiscard]] Eigen::Matrix2d display_from_stored(int orientation);

/// True when the displayed frame is as wide as the stored one is high (orientations 5..8).
[[nodiscard]] bool swaps_sides(int orientation);

}  // namespace lookdown::level
