#include "stages/mosaic/radiometry/light_field.h"

#include <Eigen/IterativeLinearSolvers>
#include <Eigen/SparseCore>
#include <algorithm>
#include <array>
#include <cmath>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::mosaic {
namespace {

constexpr int kColumns = 6, kRows = 5, kNodes = kColumns * kRows;  ///< of a field, over the frame
constexpr double kFieldPrior = 0.5;    ///< standard deviation of ln light at a node: half the light and more
constexpr double kStepPrior = 0.2;     ///< from a node to the next
constexpr double kLikeSpots = 6;       ///< neighbouring spots err alike: this many count as one measurement
constexpr double kLeastSpread = 0.01;  ///< of the logarithm: no spot is trusted better
constexpr int kFieldRounds = 6;
/// Clouds shade some places only: what four in five places differ by at most.
constexpr double kMostPlaces = 0.8;
constexpr double kClearlyCloser = 0.75;  ///< share of it that is left
constexpr double kVisible = 0.03;        ///< ln light: of that much no step is seen

/// Nodes round a place of a frame, with their shares.
struct Footing {
  std::array<int, 4> node{};
  std::array<double, 4> share{};
};

Footing footing(const FrameView& view, const std::array<double, 2>& uv) {
  const double half_diagonal = 0.5 * std::hypot(view.camera.width_px, view.camera.height_px);
  const double x = (view.camera.cx_px + uv[0] * half_diagonal) / (view.camera.width_px - 1),
               y = (view.camera.cy_px + uv[1] * half_diagonal) / (view.camera.height_px - 1);
  const double column = std::clamp(x, 0.0, 1.0) * (kColumns - 1), row = std::clamp(y, 0.0, 1.0) * (kRows - 1);
  const int c = std::min(static_cast<int>(column), kColumns - 2),
            r = std::min(static_cast<int>(row), kRows - 2);
  const double a = column - c, b = row - r;
  const int first = r * kColumns + c;
  return {{first, first + 1, first + kColumns, first + kColumns + 1},
          {(1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b}};
}

/// ln of what the model multiplies the brightness by at a place.
double log_factor(const FrameColour& colour, const std::array<double, 2>& uv) {
  const double square = uv[0] * uv[0] + uv[1] * uv[1];
  const auto& a = colour.vignetting;
  const double gain = 0.0722 * colour.log_gain[0] + 0.7152 * colour.log_gain[1] + 0.2126 * colour.log_gain[2];
  return gain + colour.log_slope[0] * uv[0] + colour.log_slope[1] * uv[1] -
         square * (a[0] + square * (a[1] + square * a[2]));
}

/// Spots as equations: what both fields must make up for.
struct Equations {
  struct Side {
    int view;
    Footing at;
  };
  std::vector<std::array<Side, 2>> sides;
  std::vector<double> apart;  ///< ln of first over second, by the model as it is
  std::vector<double> weight;
};

Equations equations_of(const std::vector<FrameView>& views, const std::vector<SharedSpot>& spots,
                       const ColourModel& model, bool odd, bool even) {
  Equations equations;
  for (std::size_t i = 0; i < spots.size(); ++i) {
    if (i % 2 == 1 ? !odd : !even) continue;
    const SharedSpot& spot = spots[i];
    equations.sides.push_back({{{spot.first, footing(views[spot.first], spot.first_uv)},
                                {spot.second, footing(views[spot.second], spot.second_uv)}}});
    equations.apart.push_back(std::log(spot.luminance[0] / spot.luminance[1]) +
                              log_factor(model[spot.first], spot.first_uv) -
                              log_factor(model[spot.second], spot.second_uv));
    equations.weight.push_back(spot.weight);
  }
  return equations;
}

std::vector<double> left_over(const Equations& equations, const Eigen::VectorXd& fields) {
  std::vector<double> left = equations.apart;
  for (std::size_t i = 0; i < left.size(); ++i)
    for (int k = 0; k < 4; ++k) {
      const auto& [one, other] = equations.sides[i];
      left[i] += one.at.share[k] * fields[one.view * kNodes + one.at.node[k]];
      left[i] -= other.at.share[k] * fields[other.view * kNodes + other.at.node[k]];
    }
  return left;
}

/// What that share of the spots differ by at most.
double share_differs_by(std::vector<double> left, double share) {
  for (double& value : left) value = std::abs(value);
  return quantile_in_place(left, share);
}

using Triplets = std::vector<Eigen::Triplet<double>>;

/// Each node is small, and like its neighbours; gives the number of rows.
int add_priors(int views, Triplets& triplets) {
  int row = 0;
  const auto step = [&](int one, int other) {
    triplets.emplace_back(row, one, 1 / kStepPrior);
    triplets.emplace_back(row++, other, -1 / kStepPrior);
  };
  for (int node = 0; node < views * kNodes; ++node) {
    triplets.emplace_back(row++, node, 1 / kFieldPrior);
    const int place = node % kNodes;
    if (place % kColumns + 1 < kColumns) step(node, node + 1);
    if (place / kColumns + 1 < kRows) step(node, node + kColumns);
  }
  return row;
}

Eigen::VectorXd solve(const Equations& equations, int views) {
  Eigen::VectorXd fields = Eigen::VectorXd::Zero(views * kNodes);
  Triplets priors;
  const int first = add_priors(views, priors), rows = first + static_cast<int>(equations.apart.size());
  for (int round = 0; round < kFieldRounds; ++round) {
    const std::vector<double> left = left_over(equations, fields);
    const double spread = std::max(kLeastSpread, kSigmaOfMad * share_differs_by(left, 0.5));
    Triplets triplets = priors;
    Eigen::VectorXd right = Eigen::VectorXd::Zero(rows);
    for (std::size_t i = 0; i < left.size(); ++i) {
      const double far = left[i] / (2 * spread);
      const double weight = std::sqrt(equations.weight[i] / (1 + far * far) / kLikeSpots) / spread;
      const int row = first + static_cast<int>(i);
      for (int k = 0; k < 4; ++k) {
        const auto& [one, other] = equations.sides[i];
        triplets.emplace_back(row, one.view * kNodes + one.at.node[k], weight * one.at.share[k]);
        triplets.emplace_back(row, other.view * kNodes + other.at.node[k], -weight * other.at.share[k]);
      }
      right[row] = -weight * equations.apart[i];
    }
    Eigen::SparseMatrix<double, Eigen::RowMajor> system(rows, views * kNodes);
    system.setFromTriplets(triplets.begin(), triplets.end());
    Eigen::LeastSquaresConjugateGradient<Eigen::SparseMatrix<double, Eigen::RowMajor>> solver;
    solver.setTolerance(1e-4);
    solver.compute(system);
    fields = solver.solveWithGuess(right, fields);
  }
  return fields;
}

}  // namespace

void add_light_fields(const std::vector<FrameView>& views, const std::vector<SharedSpot>& spots,
                      ColourModel& model) {
  const int count = static_cast<int>(views.size());
  const Equations held_back = equations_of(views, spots, model, true, false);
  const double before = share_differs_by(held_back.apart, kMostPlaces);
  if (before < kVisible) return;
  const Eigen::VectorXd by_half = solve(equations_of(views, spots, model, false, true), count);
  if (share_differs_by(left_over(held_back, by_half), kMostPlaces) > kClearlyCloser * before) return;
  const Eigen::VectorXd fields = solve(equations_of(views, spots, model, true, true), count);
  for (int view = 0; view < count; ++view) {
    model[view].log_field.create(kRows, kColumns, CV_32FC1);
    for (int node = 0; node < kNodes; ++node)
      model[view].log_field.at<float>(node / kColumns, node % kColumns) =
          static_cast<float>(fields[view * kNodes + node]);
  }
}

}  // namespace lookdown::mosaic
