#include "stages/level/verticals/manhattan_vanishing_points.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <numbers>

#include "pipeline/base/angles.h"

namespace lookdown::level {
namespace {

constexpr double kCoarseTolerance = 2.5 * kDegree;
constexpr double kFineTolerance = 0.8 * kDegree;
constexpr double kLargestTilt = 28 * kDegree;
constexpr double kSurestNeeded = 1.5 * kDegree;
/// Edges of one yard, roof or bed share its slope and its builder's faults, which no fit shows.
constexpr double kTrustInBuilders = 0.8 * kDegree;
constexpr double kMostSpread = 0.8 * kDegree;  // over the parts of the picture
constexpr double kRivalTolerance = 0.3 * kDegree;
constexpr double kRivalShare = 0.985;  // of the edge length that the best fit explains closely
constexpr int kFewestOfAFamily = 5;
constexpr int kPartsASide = 4;  // the picture in 4 x 4 parts

/// Columns: the two level directions and straight down, in camera axes.
using Frame = Eigen::Matrix3d;

/// Sine of the angle between an edge and the line from its middle to the vanishing point of a direction; 1
/// where that is not defined.
double misalignment(const StraightEdge& edge, const Eigen::Vector3d& direction) {
  const Eigen::Vector2d toward = direction.head<2>() - direction.z() * edge.middle;
  const double length = toward.norm();
  if (length < 1e-6) return 1;
  return (toward.x() * edge.direction.y() - toward.y() * edge.direction.x()) / length;
}

/// The family an edge fits best and how well.
struct Fit {
  int family = 0;
  double sine = 1;
};
Fit best_fit(const StraightEdge& edge, const Frame& frame) {
  Fit best;
  for (int family = 0; family < 3; ++family) {
    // Next to the nadir point any edge points at it.
    if (family == 2 && (frame.col(2).hnormalized() - edge.middle).norm() < 0.12) continue;
    const double sine = misalignment(edge, frame.col(family));
    if (std::abs(sine) < std::abs(best.sine)) best = {family, sine};
  }
  return best;
}

double agreed_length(const std::vector<StraightEdge>& edges, const Frame& frame, double tolerance) {
  double sum = 0;
  for (const StraightEdge& edge : edges) {
    const double miss = best_fit(edge, frame).sine / tolerance;
    if (std::abs(miss) < 1) sum += edge.length_px * (1 - miss * miss);
  }
  return sum;
}

Frame frame_of(double tilt_x, double tilt_y, double heading) {
  const Eigen::Matrix3d turn = Eigen::AngleAxisd(heading, Eigen::Vector3d::UnitZ()).toRotationMatrix();
  const Eigen::Matrix3d lean = (Eigen::AngleAxisd(tilt_x, Eigen::Vector3d::UnitX()) *
                                Eigen::AngleAxisd(tilt_y, Eigen::Vector3d::UnitY()))
                                   .toRotationMatrix();
  return lean * turn;
}

/// Starts for the fit, best first, each with another direction of straight down.
std::vector<Frame> coarse_frames(const std::vector<StraightEdge>& edges, std::size_t most) {
  std::vector<std::pair<double, Frame>> scored;
  const double step = 4 * kDegree;
  for (double x = -kLargestTilt; x <= kLargestTilt; x += step)
    for (double y = -kLargestTilt; y <= kLargestTilt; y += step) {
      std::pair<double, Frame> best{-1, Frame::Identity()};
      for (double heading = 0; heading < 90 * kDegree; heading += step) {
        const Frame frame = frame_of(x, y, heading);
        const double score = agreed_length(edges, frame, kCoarseTolerance);
        if (score > best.first) best = {score, frame};
      }
      scored.push_back(best);
    }
  std::stable_sort(scored.begin(), scored.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  std::vector<Frame> best;
  for (std::size_t i = 0; i < scored.size() && i < most; ++i) best.push_back(scored[i].second);
  return best;
}

/// One fit: the rotation, the information it rests on (weights in 1/rad^2, rotation about camera axes), and
/// the length agreed by each family.
struct Refined {
  Frame frame = Frame::Identity();
  Eigen::Matrix3d information = Eigen::Matrix3d::Zero();
  double scatter = 0;
  std::array<double, 3> length{};
  std::array<int, 3> count{};
};

Refined refine(const std::vector<StraightEdge>& edges, Frame frame) {
  Refined result;
  double tolerance = kCoarseTolerance;
  for (int round = 0; round < 12; ++round) {
    result = Refined{};
    Eigen::Vector3d gradient = Eigen::Vector3d::Zero();
    double weight_sum = 0, square_sum = 0;
    for (const StraightEdge& edge : edges) {
      const Fit fit = best_fit(edge, frame);
      if (std::abs(fit.sine) >= tolerance) continue;
      const double miss = fit.sine / tolerance, robust = (1 - miss * miss) * (1 - miss * miss);
      const double weight = robust * edge.length_px;
      Eigen::Vector3d slope;
      for (int axis = 0; axis < 3; ++axis) {
        constexpr double nudge = 1e-5;
        const Eigen::Vector3d turned =
            Eigen::AngleAxisd(nudge, Eigen::Vector3d::Unit(axis)) * frame.col(fit.family);
        slope(axis) = (misalignment(edge, turned) - fit.sine) / nudge;
      }
      result.information += weight * slope * slope.transpose();
      gradient += weight * fit.sine * slope;
      weight_sum += weight;
      square_sum += weight * fit.sine * fit.sine;
      result.length[fit.family] += edge.length_px;
      result.count[fit.family] += 1;
    }
    if (weight_sum <= 0) break;
    result.scatter = std::sqrt(square_sum / weight_sum);
    const int used = result.count[0] + result.count[1] + result.count[2];
    // Each edge counts once, whatever its length: weights are shares of it.
    result.information *= used / weight_sum;
    const Eigen::Vector3d step = -(result.information + 1e-6 * Eigen::Matrix3d::Identity())
                                      .ldlt()
                                      .solve(gradient * (used / weight_sum));
    const double turn = std::min(step.norm(), 3 * kDegree);
    if (step.norm() > 1e-12) frame = Eigen::AngleAxisd(turn, step.normalized()) * frame;
    tolerance = std::max(kFineTolerance, 0.8 * tolerance);
  }
  result.frame = frame;
  return result;
}

/// Standard deviation of the direction of straight down: the worse of its two components; infinite when not
/// fixed.
double down_sigma(const Refined& fit) {
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> solver(fit.information);
  if (solver.eigenvalues()(0) < 1e-3) return INFINITY;
  const double scatter = std::max(fit.scatter, 0.15 * kDegree);
  const Eigen::Matrix3d covariance = fit.information.inverse() * scatter * scatter;
  // Turning by w moves the down direction by w x down.
  Eigen::Matrix3d cross;
  const Eigen::Vector3d d = fit.frame.col(2);
  cross << 0, d.z(), -d.y(), -d.z(), 0, d.x(), d.y(), -d.x(), 0;
  const Eigen::Matrix3d of_down = cross * covariance * cross.transpose();
  return std::sqrt(Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d>(of_down).eigenvalues()(2));
}

double angle_between(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  return std::atan2(a.cross(b).norm(), a.dot(b));
}

/// Number of the part of the picture in which an edge lies.
int part_of(const StraightEdge& edge, const Eigen::Vector2d& lowest, const Eigen::Vector2d& highest) {
  const Eigen::Vector2d share = (edge.middle - lowest).cwiseQuotient((highest - lowest).cwiseMax(1e-9));
  const auto cell = [](double s) {
    return std::clamp(static_cast<int>(s * kPartsASide), 0, kPartsASide - 1);
  };
  return cell(share.y()) * kPartsASide + cell(share.x());
}

/// Spread of straight down when each part of the picture is left out in turn (delete-a-group jackknife: Efron
/// & Tibshirani, An Introduction to the Bootstrap, 1993, ch. 11). Buildings that stand askew or have sloping
/// roofs each pull their own way. Infinite with fewer than four parts.
double spread_over_parts(const std::vector<StraightEdge>& edges, const Refined& fit) {
  Eigen::Vector2d lowest = edges.front().middle, highest = lowest;
  for (const StraightEdge& edge : edges) {
    lowest = lowest.cwiseMin(edge.middle);
    highest = highest.cwiseMax(edge.middle);
  }
  std::array<bool, kPartsASide * kPartsASide> holds{};
  for (const StraightEdge& edge : edges)
    if (std::abs(best_fit(edge, fit.frame).sine) < kFineTolerance)
      holds[part_of(edge, lowest, highest)] = true;
  double squares = 0;
  int parts = 0;
  for (int part = 0; part < static_cast<int>(holds.size()); ++part) {
    if (!holds[part]) continue;
    std::vector<StraightEdge> others;
    std::copy_if(edges.begin(), edges.end(), std::back_inserter(others),
                 [&](const StraightEdge& edge) { return part_of(edge, lowest, highest) != part; });
    const double moved = angle_between(refine(others, fit.frame).frame.col(2), fit.frame.col(2));
    squares += moved * moved;
    ++parts;
  }
  if (parts < 4) return INFINITY;
  return std::sqrt(squares * (parts - 1) / parts);
}

}  // namespace

std::optional<Tilt> tilt_from_manhattan_directions(const std::vector<StraightEdge>& edges) {
  constexpr int kFewestEdges = 14;
  constexpr double kLeastAgreedShare = 0.8;  // of edges thrown at random some 6 % agree
  if (static_cast<int>(edges.size()) < kFewestEdges) return std::nullopt;
  double all = 0;
  for (const StraightEdge& edge : edges) all += edge.length_px;
  Refined best;
  double most = 0;
  std::vector<std::pair<double, Refined>> fits;
  for (const Frame& start : coarse_frames(edges, 24)) {
    const Refined fit = refine(edges, start);
    fits.emplace_back(agreed_length(edges, fit.frame, kFineTolerance), fit);
    if (fits.back().first > most) {
      most = fits.back().first;
      best = fit;
    }
  }
  const double agreed = best.length[0] + best.length[1] + best.length[2];
  const bool both_level = best.count[0] >= kFewestOfAFamily && best.count[1] >= kFewestOfAFamily;
  if (most <= 0 || agreed < kLeastAgreedShare * all || !both_level) return std::nullopt;
  const double spread = spread_over_parts(edges, best);
  const double sigma = std::hypot(kTrustInBuilders, std::hypot(down_sigma(best), spread));
  if (!(spread < kMostSpread) || !(sigma < kSurestNeeded)) return std::nullopt;
  // Another way of hanging that explains as much: the edges do not tell.
  const double closely = agreed_length(edges, best.frame, kRivalTolerance);
  for (const auto& [length, fit] : fits)
    if (angle_between(fit.frame.col(2), best.frame.col(2)) > 1.5 * kDegree &&
        agreed_length(edges, fit.frame, kRivalTolerance) > kRivalShare * closely)
      return std::nullopt;
  Eigen::Vector3d down = best.frame.col(2);
  if (down.z() < std::cos(kLargestTilt + 4 * kDegree)) return std::nullopt;
  Tilt tilt;
  tilt.down_in_camera = {down.x(), down.y(), down.z()};
  tilt.off_nadir_deg = std::acos(std::clamp(down.z(), -1.0, 1.0)) / kDegree;
  tilt.sigma_deg = sigma / kDegree;
  tilt.from = best.length[2] > agreed / 3 ? "verticals" : "parallels";
  return tilt;
}

}  // namespace lookdown::level
