#include "stages/place/registration/initial_network.h"

#include <Eigen/Geometry>
#include <Eigen/SparseCholesky>
#include <algorithm>
#include <cmath>
#include <complex>
#include <map>
#include <numbers>

namespace lookdown::place {
namespace {

using Complex = std::complex<double>;

/// One tie as a similarity of the plane in complex numbers: q_b = scale_turn q_a + shift, coordinates right
/// and up from the principal point in pixels.
struct Edge {
  int a = 0, b = 0;  ///< positions in `members`
  Complex scale_turn;
  Complex middle_a, middle_b;  ///< mean of the matches
  double weight = 1;
};

Complex in_frame(const TieFrame& f, int spot) {
  const auto& p = f.undistorted[std::size_t(spot)];
  return {p.x - f.camera.cx_px, -(p.y - f.camera.cy_px)};
}

Edge similarity(const std::vector<TieFrame>& frames, const Tie& tie, int a, int b) {
  Edge edge;
  edge.a = a;
  edge.b = b;
  const TieFrame& fa = frames[std::size_t(tie.a)];
  const TieFrame& fb = frames[std::size_t(tie.b)];
  for (const Match& m : tie.matches) {
    edge.middle_a += in_frame(fa, m.a);
    edge.middle_b += in_frame(fb, m.b);
  }
  const double count = double(tie.matches.size());
  edge.middle_a /= count;
  edge.middle_b /= count;
  Complex product = 0;
  double square = 0;
  for (const Match& m : tie.matches) {
    const Complex qa = in_frame(fa, m.a) - edge.middle_a;
    product += std::conj(qa) * (in_frame(fb, m.b) - edge.middle_b);
    square += std::norm(qa);
  }
  edge.scale_turn = product / std::max(1e-9, square);
  edge.weight = std::sqrt(count);
  return edge;
}

/// Weighted least squares x_b - x_a = difference over a connected graph with x_seed = 0; one pass per column
/// of `differences`.
Eigen::MatrixXd balance(int nodes, int seed, const std::vector<Edge>& edges,
                        const std::vector<double>& weights, const Eigen::MatrixXd& differences) {
  std::vector<Eigen::Triplet<double>> entries;
  Eigen::MatrixXd right = Eigen::MatrixXd::Zero(nodes, differences.cols());
  for (std::size_t e = 0; e < edges.size(); ++e) {
    const int a = edges[e].a, b = edges[e].b;
    const double w = weights[e];
    entries.emplace_back(a, a, w);
    entries.emplace_back(b, b, w);
    entries.emplace_back(a, b, -w);
    entries.emplace_back(b, a, -w);
    right.row(b) += w * differences.row(Eigen::Index(e));
    right.row(a) -= w * differences.row(Eigen::Index(e));
  }
  entries.emplace_back(seed, seed, 1e3);
  Eigen::SparseMatrix<double> normal(nodes, nodes);
  normal.setFromTriplets(entries.begin(), entries.end());
  return Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>>(normal).solve(right);
}

/// Repeats the balance with less weight for ties that disagree (Cauchy weights at `scale`).
template <class Differences>
Eigen::MatrixXd balance_robustly(int nodes, int seed, const std::vector<Edge>& edges, double scale,
                                 Differences&& differences_at) {
  std::vector<double> weights;
  for (const Edge& e : edges) weights.push_back(e.weight);
  Eigen::MatrixXd x = Eigen::MatrixXd::Zero(nodes, 0);
  for (int pass = 0; pass < 6; ++pass) {
    const Eigen::MatrixXd differences = differences_at(x);
    x = balance(nodes, seed, edges, weights, differences);
    for (std::size_t e = 0; e < edges.size(); ++e) {
      const double off = (x.row(edges[e].b) - x.row(edges[e].a) - differences.row(Eigen::Index(e))).norm();
      weights[e] = edges[e].weight / (1 + (off * off) / (scale * scale));
    }
  }
  return x;
}

/// Turns along the ties with the most matches, so that the balanced turns start in the right winding.
std::vector<double> chained_turns(int nodes, int seed, const std::vector<Edge>& edges) {
  std::vector<double> turn(std::size_t(nodes), 0);
  std::vector<bool> known(std::size_t(nodes), false);
  known[std::size_t(seed)] = true;
  for (int n = 1; n < nodes; ++n) {
    const Edge* best = nullptr;
    for (const Edge& e : edges)
      if (known[std::size_t(e.a)] != known[std::size_t(e.b)] && (best == nullptr || e.weight > best->weight))
        best = &e;
    if (best == nullptr) break;
    const double step = -std::arg(best->scale_turn);
    if (known[std::size_t(best->a)]) {
      turn[std::size_t(best->b)] = turn[std::size_t(best->a)] + step;
      known[std::size_t(best->b)] = true;
    } else {
      turn[std::size_t(best->a)] = turn[std::size_t(best->b)] - step;
      known[std::size_t(best->a)] = true;
    }
  }
  return turn;
}

int busiest(int nodes, const std::vector<Edge>& edges) {
  std::vector<double> sum(std::size_t(nodes), 0);
  for (const Edge& e : edges) {
    sum[std::size_t(e.a)] += e.weight;
    sum[std::size_t(e.b)] += e.weight;
  }
  return int(std::max_element(sum.begin(), sum.end()) - sum.begin());
}

/// ground = factor * q + shift for each frame; log of the factor balanced first, then the shifts.
std::vector<Complex> balanced_factors(int nodes, int seed, const std::vector<Edge>& edges) {
  const std::vector<double> start = chained_turns(nodes, seed, edges);
  const auto differences = [&](const Eigen::MatrixXd& x) {
    Eigen::MatrixXd d(Eigen::Index(edges.size()), 2);
    for (std::size_t e = 0; e < edges.size(); ++e) {
      // q_b = s q_a, so the factor of b is the factor of a divided by s.
      const double about = x.cols() == 0 ? start[std::size_t(edges[e].b)] - start[std::size_t(edges[e].a)]
                                         : x(edges[e].b, 1) - x(edges[e].a, 1);
      const double turn = -std::arg(edges[e].scale_turn);
      d(Eigen::Index(e), 0) = -std::log(std::abs(edges[e].scale_turn));
      d(Eigen::Index(e), 1) = about + std::remainder(turn - about, 2 * std::numbers::pi);
    }
    return d;
  };
  const Eigen::MatrixXd x = balance_robustly(nodes, seed, edges, 0.1, differences);
  std::vector<Complex> factors;
  for (int i = 0; i < nodes; ++i) factors.push_back(std::polar(std::exp(x(i, 0)), x(i, 1)));
  return factors;
}

std::vector<Complex> balanced_shifts(int nodes, int seed, const std::vector<Edge>& edges,
                                     const std::vector<Complex>& factors, double scale_px) {
  const auto differences = [&](const Eigen::MatrixXd&) {
    Eigen::MatrixXd d(Eigen::Index(edges.size()), 2);
    for (std::size_t e = 0; e < edges.size(); ++e) {
      const Complex step = factors[std::size_t(edges[e].a)] * edges[e].middle_a -
                           factors[std::size_t(edges[e].b)] * edges[e].middle_b;
      d.row(Eigen::Index(e)) << step.real(), step.imag();
    }
    return d;
  };
  const Eigen::MatrixXd x = balance_robustly(nodes, seed, edges, scale_px, differences);
  std::vector<Complex> shifts;
  for (int i = 0; i < nodes; ++i) shifts.emplace_back(x(i, 0), x(i, 1));
  return shifts;
}

}  // namespace

std::vector<Pose> first_layout(const std::vector<TieFrame>& frames, const std::vector<Tie>& ties,
                               const std::vector<int>& members) {
  std::map<int, int> at;
  for (std::size_t i = 0; i < members.size(); ++i) at[members[i]] = int(i);
  std::vector<Edge> edges;
  for (const Tie& t : ties)
    if (at.contains(t.a) && at.contains(t.b)) edges.push_back(similarity(frames, t, at[t.a], at[t.b]));
  const int nodes = int(members.size());
  const int seed = busiest(nodes, edges);
  const std::vector<Complex> factors = balanced_factors(nodes, seed, edges);
  // Tilt moves a frame by up to a fifth of its width; ties that disagree by more are wrong.
  const double scale_px = 0.2 * frames[std::size_t(members[std::size_t(seed)])].camera.width_px;
  const std::vector<Complex> shifts = balanced_shifts(nodes, seed, edges, factors, scale_px);

  std::vector<Pose> poses;
  for (int i = 0; i < nodes; ++i) {
    const Complex factor = factors[std::size_t(i)], shift = shifts[std::size_t(i)];
    const double height = std::abs(factor) * frames[std::size_t(members[std::size_t(i)])].camera.fx_px;
    // A turn of the frame's "up" by arg(factor) counter-clockwise is a heading that much counter-clockwise
    // from north.
    poses.push_back(straight_down({shift.real(), shift.imag(), height}, -std::arg(factor)));
  }
  return poses;
}

}  // namespace lookdown::place
