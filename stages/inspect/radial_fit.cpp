#include "stages/inspect/radial_fit.h"

#include <Eigen/Dense>
#include <cmath>

namespace lookdown::inspect {

// stored = s u (1 + k1 v^2 + k2 v^4 + k3 v^6), where s is the slope at the centre. Models that keep a ring of
// the picture in place have s beside 1, Brown's keeps the centre: there v = s u / f. Of an equidistant lens v
// is the angle itself, u / f, and s belongs to the focal length.
double fit_radial(const std::vector<Eigen::Vector2d>& radii_px, Camera& camera) {
  const long n = static_cast<long>(radii_px.size());
  Eigen::MatrixXd terms(n, 4);
  Eigen::VectorXd stored(n);
  const double unit = radii_px.back().x();
  for (long i = 0; i < n; ++i) {
    const double u = radii_px[static_cast<std::size_t>(i)].x() / unit;
    terms.row(i) << u, u * u * u, std::pow(u, 5), std::pow(u, 7);
    stored(i) = radii_px[static_cast<std::size_t>(i)].y() / unit;
  }
  const Eigen::VectorXd fitted = terms.colPivHouseholderQr().solve(stored);
  const bool by_angle = camera.projection == Projection::equidistant;
  const double per_square = std::pow(camera.fx_px / (by_angle ? unit : fitted(0) * unit), 2);
  camera.k1 = fitted(1) / fitted(0) * per_square;
  camera.k2 = fitted(2) / fitted(0) * per_square * per_square;
  camera.k3 = fitted(3) / fitted(0) * per_square * per_square * per_square;
  if (by_angle) {
    camera.fx_px *= fitted(0);
    camera.fy_px *= fitted(0);
  }
  return unit * (terms * fitted - stored).cwiseAbs().maxCoeff();
}

}  // namespace lookdown::inspect
