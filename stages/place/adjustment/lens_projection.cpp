#include "stages/place/adjustment/lens_projection.h"

#include <limits>
#include <utility>

namespace lookdown::place {
namespace {

/// An equidistant lens has k1 near -1/3 by Brown's model (the series of its angle over its tangent), a
/// stereographic one -1/4; rectilinear lenses of compact cameras stay above a third of that.
constexpr double kStrongBarrel = -0.08;

bool may_be_either(const Network& network, std::size_t camera) {
  const Camera& prior = network.known_cameras[camera].prior;
  return prior.distortion_from == "none" &&
         (prior.projection == Projection::equidistant || network.cameras[camera].k1 < kStrongBarrel);
}

Network with_other_projection(Network network, std::size_t camera) {
  Camera &prior = network.known_cameras[camera].prior, &now = network.cameras[camera];
  const bool fisheye = now.projection == Projection::equidistant;
  prior.projection = now.projection = fisheye ? Projection::rectilinear : Projection::equidistant;
  // A rectilinear lens starts bent like the common fisheyes, an equidistant one straight.
  now.k1 = fisheye ? 3 * kStrongBarrel : 0;
  now.k2 = 0;
  return network;
}

double balance(Network& network) {
  AdjustmentOptions options;
  options.loss_px = 4;
  options.held_frame = 0;
  const AdjustmentSummary summary = adjust(network, options);
  return summary.usable ? summary.final_cost : std::numeric_limits<double>::infinity();
}

}  // namespace

bool choose_projections(Network& network) {
  bool changed = false;
  for (std::size_t c = 0; c < network.cameras.size(); ++c) {
    if (!may_be_either(network, c)) continue;
    Network as_is = network, other = with_other_projection(network, c);
    if (!(balance(other) < balance(as_is))) continue;
    network = std::move(other);
    changed = true;
  }
  return changed;
}

}  // namespace lookdown::place
