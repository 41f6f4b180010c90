// Lens models of others brought to this program's.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "pipeline/geometry/camera.h"

namespace lookdown::inspect {

/// Sets k1, k2, k3 of `camera` so that they carry the first of each pair of radii to the second (pixels from
/// the principal point, growing; the first of an equidistant lens is the angle in units of the focal length),
/// and of an equidistant lens the focal length. Least squares; returns the largest miss in pixels.
[[nodiscard]] double fit_radial(const std::vector<Eigen::Vector2d>& radii_px, Camera& camera);

}  // namespace lookdown::inspect
