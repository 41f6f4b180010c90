#include <Eigen/Geometry>
#include <Eigen/SVD>
#include <cmath>
#include <complex>

#include "stages/place/datum/datum_parts.h"

namespace lookdown::place {

std::optional<PlaneSimilarity> fit_similarity(const std::vector<Eigen::Vector2d>& from,
                                              const std::vector<Eigen::Vector2d>& to,
                                              double scale_of_errors) {
  using Complex = std::complex<double>;
  const std::size_t count = from.size();
  if (count < 2 || to.size() != count) return std::nullopt;
  std::vector<double> weights(count, 1);
  PlaneSimilarity fit;
  for (int pass = 0; pass < (scale_of_errors > 0 ? 12 : 1); ++pass) {
    Eigen::Vector2d mean_from = Eigen::Vector2d::Zero(), mean_to = mean_from;
    double sum = 0;
    for (std::size_t i = 0; i < count; ++i) {
      mean_from += weights[i] * from[i];
      mean_to += weights[i] * to[i];
      sum += weights[i];
    }
    mean_from /= sum;
    mean_to /= sum;
    Complex product = 0;
    double square = 0;
    for (std::size_t i = 0; i < count; ++i) {
      const Eigen::Vector2d p = from[i] - mean_from, q = to[i] - mean_to;
      product += weights[i] * std::conj(Complex(p.x(), p.y())) * Complex(q.x(), q.y());
      square += weights[i] * p.squaredNorm();
    }
    if (!(square > 0) || std::abs(product) == 0) return std::nullopt;
    fit.scale = std::abs(product) / square;
    fit.turn_rad = std::arg(product);
    fit.shift = mean_to - fit.scale * (Eigen::Rotation2Dd(fit.turn_rad) * mean_from);
    if (scale_of_errors <= 0) break;
    for (std::size_t i = 0; i < count; ++i) {
      const double off =
          (fit.scale * (Eigen::Rotation2Dd(fit.turn_rad) * from[i]) + fit.shift - to[i]).norm();
      weights[i] = 1 / (1 + off * off / (scale_of_errors * scale_of_errors));
    }
  }
  return fit;
}

void apply(const PlaneSimilarity& s, Network& network) {
  apply({s.scale, Eigen::AngleAxisd(s.turn_rad, Eigen::Vector3d::UnitZ()).toRotationMatrix(),
         Eigen::Vector3d(s.shift.x(), s.shift.y(), 0)},
        network);
}

void apply(const SpaceSimilarity& s, Network& network) {
  for (Pose& p : network.poses) {
    p.world_from_camera = s.turn * p.world_from_camera;
    p.centre = s.scale * (s.turn * p.centre) + s.shift;
  }
  for (NetworkPoint& p : network.points) p.position = s.scale * (s.turn * p.position) + s.shift;
  network.relief_sigma *= s.scale;
}

std::optional<SpaceSimilarity> best_similarity(const std::vector<Eigen::Vector3d>& from,
                                               const std::vector<Eigen::Vector3d>& to) {
  if (from.size() < 3) return std::nullopt;
  Eigen::Matrix3Xd source(3, from.size()), target(3, to.size());
  for (std::size_t i = 0; i < from.size(); ++i) {
    source.col(Eigen::Index(i)) = from[i];
    target.col(Eigen::Index(i)) = to[i];
  }
  const Eigen::Matrix3Xd centred = source.colwise() - source.rowwise().mean();
  const Eigen::Vector3d spread = Eigen::JacobiSVD<Eigen::Matrix3Xd>(centred).singularValues();
  if (!(spread(1) > 0.05 * spread(0))) return std::nullopt;
  const Eigen::Matrix4d fit = Eigen::umeyama(source, target, true);
  SpaceSimilarity similarity;
  similarity.scale = fit.topLeftCorner<3, 3>().col(0).norm();
  similarity.turn = fit.topLeftCorner<3, 3>() / similarity.scale;
  similarity.shift = fit.topRightCorner<3, 1>();
  return similarity;
}

}  // namespace lookdown::place
