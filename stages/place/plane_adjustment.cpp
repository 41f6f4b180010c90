#include <ceres/ceres.h>

#include <array>
#include <limits>
#include <memory>

#include "stages/place/network.h"
#include "stages/place/projection_residual.h"

namespace lookdown::place {
namespace {

using PoseValues = std::array<double, kPoseParameters>;
using CameraValues = std::array<double, kCameraParameters>;

/// The unknowns as the solver moves them.
struct Unknowns {
  std::vector<PoseValues> poses;
  std::vector<CameraValues> cameras;
};

Unknowns unknowns_of(const Network& network) {
  Unknowns unknowns;
  for (const Pose& p : network.poses)
    unknowns.poses.push_back({0, 0, 0, p.centre.x(), p.centre.y(), p.centre.z()});
  for (std::size_t c = 0; c < network.cameras.size(); ++c) {
    const Camera& now = network.cameras[c];
    const Camera& prior = network.known_cameras[c].prior;
    unknowns.cameras.push_back({std::log(now.fx_px / prior.fx_px), (now.cx_px - prior.cx_px) / prior.fx_px,
                                (now.cy_px - prior.cy_px) / prior.fy_px, now.k1, now.k2});
  }
  return unknowns;
}

void write_back(const Unknowns& unknowns, Network& network) {
  for (std::size_t i = 0; i < network.poses.size(); ++i) {
    const PoseValues& v = unknowns.poses[i];
    Pose& pose = network.poses[i];
    pose.world_from_camera = pose.world_from_camera * turn_matrix({v[0], v[1], v[2]});
    // Rounding would slowly bend the axes over many rounds.
    pose.world_from_camera = Eigen::Quaterniond(pose.world_from_camera).normalized().toRotationMatrix();
    pose.centre = {v[3], v[4], v[5]};
  }
  for (std::size_t c = 0; c < network.cameras.size(); ++c) {
    const CameraValues& v = unknowns.cameras[c];
    const Camera& prior = network.known_cameras[c].prior;
    Camera& camera = network.cameras[c];
    camera.fx_px = prior.fx_px * std::exp(v[0]);
    camera.fy_px = prior.fy_px * std::exp(v[0]);
    camera.cx_px = prior.cx_px + prior.fx_px * v[1];
    camera.cy_px = prior.cy_px + prior.fy_px * v[2];
    camera.k1 = v[3];
    camera.k2 = v[4];
  }
}

template <class Functor, int Residuals, int Block, class... Arguments>
ceres::CostFunction* automatic(Arguments&&... arguments) {
  return new ceres::AutoDiffCostFunction<Functor, Residuals, Block>(
      new Functor{std::forward<Arguments>(arguments)...});
}

void add_sightings(ceres::Problem& problem, const AdjustmentOptions& options, Network& network,
                   Unknowns& unknowns) {
  ceres::LossFunction* loss = new ceres::CauchyLoss(options.loss_px);
  for (const Sighting& s : network.sightings) {
    const int camera = network.camera_of_frame[std::size_t(s.frame)];
    auto* cost =
        new ProjectionResidual(s.at, s.sigma_px, network.poses[std::size_t(s.frame)].world_from_camera,
                               network.known_cameras[std::size_t(camera)].prior);
    problem.AddResidualBlock(cost, loss, unknowns.poses[std::size_t(s.frame)].data(),
                             network.points[std::size_t(s.point)].position.data(),
                             unknowns.cameras[std::size_t(camera)].data());
  }
}

void add_footing(ceres::Problem& problem, Network& network) {
  // Banks and steps pull less than their distance says, so that a shed does not bend the ground.
  ceres::LossFunction* relief_loss = new ceres::CauchyLoss(2.0);
  bool used = false;
  for (NetworkPoint& point : network.points) {
    if (!problem.HasParameterBlock(point.position.data())) continue;
    if (point.footing == Footing::on_plane) {
      problem.SetManifold(point.position.data(), new ceres::SubsetManifold(3, {2}));
    } else if (point.footing == Footing::near_plane) {
      problem.AddResidualBlock(
          automatic<KnownValues<1, 2>, 1, 3>(std::array{0.0}, std::array{network.relief_sigma}), relief_loss,
          point.position.data());
      used = true;
    } else if (point.footing == Footing::given) {
      std::array<double, 3> known{}, sigma{};
      for (int i = 0; i < 3; ++i) {
        known[std::size_t(i)] = point.given(i);
        sigma[std::size_t(i)] = point.given_sigma(i);
      }
      problem.AddResidualBlock(automatic<KnownValues<3>, 3, 3>(known, sigma), nullptr, point.position.data());
    }
  }
  if (!used) delete relief_loss;
}

void add_known_poses(ceres::Problem& problem, Network& network, Unknowns& unknowns) {
  for (const KnownTilt& tilt : network.known_tilts) {
    double* pose = unknowns.poses[std::size_t(tilt.frame)].data();
    if (!problem.HasParameterBlock(pose)) continue;
    problem.AddResidualBlock(
        automatic<TiltResidual, 3, kPoseParameters>(network.poses[std::size_t(tilt.frame)].world_from_camera,
                                                    tilt.down_in_camera, 1 / tilt.sigma_rad),
        new ceres::CauchyLoss(2.0), pose);
  }
  for (const KnownCentre& centre : network.known_centres) {
    double* pose = unknowns.poses[std::size_t(centre.frame)].data();
    if (!problem.HasParameterBlock(pose)) continue;
    std::array<double, 3> known{}, sigma{};
    for (int i = 0; i < 3; ++i) {
      known[std::size_t(i)] = centre.centre(i);
      sigma[std::size_t(i)] = centre.sigma(i);
    }
    problem.AddResidualBlock(automatic<KnownValues<3, 3>, 3, kPoseParameters>(known, sigma),
                             new ceres::CauchyLoss(2.0), pose);
  }
}

void add_known_cameras(ceres::Problem& problem, const AdjustmentOptions& options, const Network& network,
                       Unknowns& unknowns) {
  for (std::size_t c = 0; c < unknowns.cameras.size(); ++c) {
    double* lens = unknowns.cameras[c].data();
    if (!problem.HasParameterBlock(lens)) continue;
    const KnownCamera& known = network.known_cameras[c];
    const double middle_sigma = known.principal_point_sigma_share *
                                std::max(known.prior.width_px, known.prior.height_px) / known.prior.fx_px;
    problem.AddResidualBlock(
        automatic<KnownValues<kCameraParameters>, kCameraParameters, kCameraParameters>(
            std::array{0.0, 0.0, 0.0, known.prior.k1, known.prior.k2},
            std::array{known.focal_sigma_share, middle_sigma, middle_sigma, known.k1_sigma, known.k2_sigma}),
        nullptr, lens);
    std::vector<int> held;
    const bool free[kCameraParameters] = {options.free_focal, options.free_principal_point,
                                          options.free_principal_point, options.free_distortion,
                                          options.free_distortion};
    for (int i = 0; i < kCameraParameters; ++i)
      if (!free[i]) held.push_back(i);
    if (held.size() == kCameraParameters) {
      problem.SetParameterBlockConstant(lens);
    } else if (!held.empty()) {
      problem.SetManifold(lens, new ceres::SubsetManifold(kCameraParameters, held));
    }
  }
}

/// Points first, so that each is eliminated alone; then poses; the cameras, which see everything, last.
void order_elimination(const Network& network, ceres::Problem& problem, Unknowns& unknowns,
                       ceres::Solver::Options& solver) {
  auto* ordering = new ceres::ParameterBlockOrdering;
  for (const NetworkPoint& p : network.points)
    if (problem.HasParameterBlock(p.position.data()))
      ordering->AddElementToGroup(const_cast<double*>(p.position.data()), 0);
  for (PoseValues& p : unknowns.poses)
    if (problem.HasParameterBlock(p.data())) ordering->AddElementToGroup(p.data(), 1);
  for (CameraValues& c : unknowns.cameras)
    if (problem.HasParameterBlock(c.data())) ordering->AddElementToGroup(c.data(), 1);
  solver.linear_solver_ordering.reset(ordering);
}

double rmse(const Network& network) {
  double sum = 0;
  int count = 0;
  for (const Sighting& s : network.sightings) {
    const double r = residual_px(network, s);
    if (!std::isfinite(r)) continue;
    sum += r * r;
    ++count;
  }
  return count > 0 ? std::sqrt(sum / count) : 0;
}

}  // namespace

double residual_px(const Network& network, const Sighting& s) {
  const Pose& pose = network.poses[std::size_t(s.frame)];
  const Camera& camera = network.cameras[std::size_t(network.camera_of_frame[std::size_t(s.frame)])];
  double depth = 0;
  const auto flat = project(pose, camera, network.points[std::size_t(s.point)].position, &depth);
  if (depth <= 0) return std::numeric_limits<double>::infinity();
  const auto raw = camera.distort(flat);
  return std::hypot(raw.x - s.at.x, raw.y - s.at.y);
}

AdjustmentSummary adjust(Network& network, const AdjustmentOptions& options) {
  Unknowns unknowns = unknowns_of(network);
  ceres::Problem problem;
  add_sightings(problem, options, network, unknowns);
  add_footing(problem, network);
  add_known_poses(problem, network, unknowns);
  add_known_cameras(problem, options, network, unknowns);
  if (options.held_frame) {
    double* held = unknowns.poses[std::size_t(*options.held_frame)].data();
    if (problem.HasParameterBlock(held))
      problem.SetManifold(held, new ceres::SubsetManifold(kPoseParameters, {3, 4, 5}));
  }

  ceres::Solver::Options solver;
  solver.linear_solver_type = network.poses.size() > 30 ? ceres::SPARSE_SCHUR : ceres::DENSE_SCHUR;
  solver.max_num_iterations = options.iterations;
  solver.function_tolerance = 1e-5;
  solver.num_threads = 1;
  solver.logging_type = ceres::SILENT;
  order_elimination(network, problem, unknowns, solver);
  ceres::Solver::Summary report;
  ceres::Solve(solver, &problem, &report);

  AdjustmentSummary summary;
  summary.usable = report.IsSolutionUsable();
  summary.final_cost = report.final_cost;
  summary.iterations = int(report.iterations.size());
  if (summary.usable) write_back(unknowns, network);
  summary.rmse_px = rmse(network);
  return summary;
}

}  // namespace lookdown::place
