// A smear that differs over the frame, as a camera that turns while the shutter is open gives it.
#pragma once

#include <optional>
#include <vector>

#include "stages/cull/spectrum/log_periodogram.h"
#include "stages/cull/spectrum/spectrum_fit.h"
#include "stages/cull/spectrum/tile_sampling.h"

namespace lookdown::cull {

struct RotationalBlur {
  double length_px = 0;      ///< in the middle of the frame
  double direction_rad = 0;  ///< there; counter-clockwise from +x, y up
};

/// Lengths and directions found region by region, put together as one shift and one turn about the middle:
/// s(r) = v + w x r, which is what a rigid motion of the camera gives over a short exposure. `whole`: the
/// smear found for all tiles together, from which the regions' are searched. Empty when the regions do not
/// show a turn beyond their scatter.
[[nodiscard]] std::optional<RotationalBlur> rotational_blur(const std::vector<TileSpectrum>&,
                                                            const RegionGrid&, double noise_power,
                                                            const SpectrumFit& whole);

}  // namespace lookdown::cull
