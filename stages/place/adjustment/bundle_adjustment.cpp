#include <ceres/ceres.h>
#include <glog/logging.h>

#include <array>
#include <limits>
#include <memory>
#include <mutex>

#include "stages/place/adjustment/network.h"
#include "stages/place/adjustment/projection_residual.h"

namespace lookdown::place {
namespace {

/// The unknowns as the solver moves them, in one piece of memory: the solver orders blocks by address, and
/// the order decides how sums round.
class Unknowns {
 public:
  explicit Unknowns(const Network& network)
      : frames_(network.poses.size()),
        values_(frames_ * kPoseParameters + network.cameras.size() * kCameraParameters, 0.0) {
    for (std::size_t i = 0; i < frames_; ++i)
      Eigen::Map<Eigen::Vector3d>(pose(int(i)) + 3) = network.poses[i].centre;
    for (std::size_t c = 0; c < network.cameras.size(); ++c) {
      const Camera& now = network.cameras[c];
      const Camera& prior = network.known_cameras[c].prior;
      const double start[kCameraParameters] = {std::log(now.fx_px / prior.fx_px),
                                               (now.cx_px - prior.cx_px) / prior.fx_px,
                                               (now.cy_px - prior.cy_px) / prior.fy_px, now.k1, now.k2};
      std::copy(start, start + kCameraParameters, camera(int(c)));
    }
  }
  double* pose(int frame) { return values_.data() + std::size_t(frame) * kPoseParameters; }
  double* camera(int index) {
    return values_.data() + frames_ * kPoseParameters + std::size_t(index) * kCameraParameters;
  }

 private:
  std::size_t frames_;
  std::vector<double> values_;
};

void write_back(Unknowns& unknowns, Network& network) {
  for (std::size_t i = 0; i < network.poses.size(); ++i) {
    const double* v = unknowns.pose(int(i));
    Pose& pose = network.poses[i];
    pose.world_from_camera = pose.world_from_camera * turn_matrix(Eigen::Vector3d(v[0], v[1], v[2]));
    // Rounding would slowly bend the axes over many rounds.
    pose.world_from_camera = Eigen::Quaterniond(pose.world_from_camera).normalized().toRotationMatrix();
    pose.centre = Eigen::Vector3d(v[3], v[4], v[5]);
  }
  for (std::size_t c = 0; c < network.cameras.size(); ++c) {
    const double* v = unknowns.camera(int(c));
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
    problem.AddResidualBlock(cost, loss, unknowns.pose(s.frame),
                             network.points[std::size_t(s.point)].position.data(), unknowns.camera(camera));
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
    double* pose = unknowns.pose(tilt.frame);
    if (!problem.HasParameterBlock(pose)) continue;
    problem.AddResidualBlock(
        automatic<TiltResidual, 3, kPoseParameters>(network.poses[std::size_t(tilt.frame)].world_from_camera,
                                                    tilt.down_in_camera, 1 / tilt.sigma_rad),
        new ceres::CauchyLoss(2.0), pose);
  }
  for (const KnownCentre& centre : network.known_centres) {
    double* pose = unknowns.pose(centre.frame);
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
  for (std::size_t c = 0; c < network.cameras.size(); ++c) {
    double* lens = unknowns.camera(int(c));
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
  for (std::size_t i = 0; i < network.poses.size(); ++i)
    if (problem.HasParameterBlock(unknowns.pose(int(i))))
      ordering->AddElementToGroup(unknowns.pose(int(i)), 1);
  for (std::size_t c = 0; c < network.cameras.size(); ++c)
    if (problem.HasParameterBlock(unknowns.camera(int(c))))
      ordering->AddElementToGroup(unknowns.camera(int(c)), 1);
  solver.linear_solver_ordering.reset(ordering);
}

}  // namespace

double residual_px(const Network& network, const Sighting& s) {
  const Pose& pose = network.poses[std::size_t(s.frame)];
  const Camera& camera = network.camera_of(std::size_t(s.frame));
  double depth = 0;
  const auto flat = project(pose, camera, network.points[std::size_t(s.point)].position, &depth);
  if (depth <= 0) return std::numeric_limits<double>::infinity();
  const auto raw = camera.distort(flat);
  return std::hypot(raw.x - s.at.x, raw.y - s.at.y);
}

double rmse_px(const Network& network) {
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

AdjustmentSummary adjust(Network& network, const AdjustmentOptions& options) {
  // A step that cannot be solved is tried again, more cautiously; whether the end is usable the report tells.
  // Nobody at a terminal needs to hear of it.
  static std::once_flag quiet;
  std::call_once(quiet, [] { FLAGS_minloglevel = google::GLOG_ERROR; });
  Unknowns unknowns(network);
  ceres::Problem problem;
  add_sightings(problem, options, network, unknowns);
  add_footing(problem, network);
  add_known_poses(problem, network, unknowns);
  add_known_cameras(problem, options, network, unknowns);
  if (options.held_frame) {
    double* held = unknowns.pose(*options.held_frame);
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
  summary.rmse_px = rmse_px(network);
  return summary;
}

}  // namespace lookdown::place
