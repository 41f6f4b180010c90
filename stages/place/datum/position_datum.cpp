#include <Eigen/SVD>

#include <algorithm>
#include <cmath>

#include "stages/place/datum/datum_parts.h"

namespace lookdown::place {
namespace {

/// Radians: positions that tell a tilt less surely do not turn it.
constexpr double kMostTiltOfPositions = 0.02;

/// Positions with heights turn and shift a group that was adjusted in space as a whole, where they tell how
/// it is tilted; empty where they do not.
std::optional<Datum> datum_from_positions_in_space(const DatumInput& input, Group& group) {
  if (!group.relief.supported) return std::nullopt;
  std::vector<std::size_t> members;
  std::vector<Eigen::Vector3d> from, to;
  double sigma = 0;
  for (std::size_t i = 0; i < group.members.size(); ++i) {
    const auto& known = input.positions[std::size_t(input.frames[std::size_t(group.members[i])].record)];
    if (!known || !known->height || !group.held_firmly[i]) continue;
    members.push_back(i);
    from.push_back(group.network.poses[i].centre);
    to.emplace_back(known->at.x(), known->at.y(), *known->height);
    sigma = std::max(sigma, known->sigma_m);
  }
  std::optional<SpaceSimilarity> fit;
  for (int pass = 0; pass < 3; ++pass) {
    fit = best_similarity(from, to);
    if (!fit) return std::nullopt;
    // A position far off is a fault of the receiver.
    std::size_t kept = 0;
    for (std::size_t i = 0; i < from.size(); ++i)
      if ((fit->scale * (fit->turn * from[i]) + fit->shift - to[i]).norm() < 4 * sigma) {
        members[kept] = members[i], from[kept] = from[i], to[kept] = to[i];
        ++kept;
      }
    members.resize(kept), from.resize(kept), to.resize(kept);
  }
  if (from.size() < 4) return std::nullopt;
  Eigen::Matrix3Xd at(3, to.size());
  for (std::size_t i = 0; i < to.size(); ++i) at.col(Eigen::Index(i)) = to[i];
  const Eigen::Vector3d middle = at.rowwise().mean();
  const Eigen::Vector3d spread = Eigen::JacobiSVD<Eigen::Matrix3Xd>(at.colwise() - middle).singularValues();
  if (!(sigma / spread(1) < kMostTiltOfPositions)) return std::nullopt;
  Datum datum = settle_in_space(*fit, middle, group);
  datum.scale_from = datum.north_from = "positions";
  if (!input.positions_crs.empty()) datum.crs = input.positions_crs;
  datum.scale_sigma_share = sigma / spread.head<2>().norm();
  for (std::size_t k = 0; k < members.size(); ++k)
    group.network.known_centres.push_back(
        {int(members[k]), to[k] - datum.origin, {sigma, sigma, 1.5 * sigma}});
  readjust(group);
  return datum;
}

}  // namespace

std::optional<Datum> datum_from_positions(const DatumInput& input, Group& group) {
  if (input.positions.empty()) return std::nullopt;
  if (auto datum = datum_from_positions_in_space(input, group)) return datum;
  std::vector<Eigen::Vector2d> from, to;
  std::vector<std::size_t> members;
  double sigma = 0;
  for (std::size_t i = 0; i < group.members.size(); ++i) {
    const auto& known = input.positions[std::size_t(input.frames[std::size_t(group.members[i])].record)];
    if (!known || !group.held_firmly[i]) continue;
    from.push_back(group.network.poses[i].centre.head<2>());
    to.push_back(known->at);
    members.push_back(i);
    sigma = std::max(sigma, known->sigma_m);
  }
  if (from.size() < 3) return std::nullopt;
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();
  for (const auto& p : to) middle += p / double(to.size());
  double spread = 0;
  for (const auto& p : to) spread += (p - middle).squaredNorm();
  // Positions no farther apart than their own errors tell neither scale nor north.
  const double scale_sigma = sigma / std::sqrt(spread);
  if (scale_sigma > 0.15) return std::nullopt;
  auto fit = fit_similarity(from, to, 2 * sigma);
  if (!fit) return std::nullopt;
  Datum datum;
  datum.metric = datum.fixed = true;
  datum.scale_from = datum.north_from = "positions";
  if (!input.positions_crs.empty()) datum.crs = input.positions_crs;
  datum.scale_sigma_share = scale_sigma;
  datum.origin = {std::round(middle.x()), std::round(middle.y()), 0};
  fit->shift -= datum.origin.head<2>();
  apply(*fit, group.network);
  for (std::size_t k = 0; k < members.size(); ++k) {
    const Eigen::Vector2d local = to[k] - datum.origin.head<2>();
    // Heights above the sea say nothing of heights above this ground.
    group.network.known_centres.push_back({int(members[k]), {local.x(), local.y(), 0}, {sigma, sigma, 1e6}});
  }
  readjust(group);
  return datum;
}

}  // namespace lookdown::place
