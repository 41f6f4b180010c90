#include "stages/place/datum/datum.h"

#include <fmt/core.h>

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <Eigen/SVD>

#include <algorithm>
#include <cmath>

#include "stages/place/adjustment/level.h"

namespace lookdown::place {
namespace {

constexpr double kMarkSigmaPx = 1.0;
constexpr double kMostTiltOfPositions =
    0.02;  ///< radians: positions that tell a tilt less surely do not turn it
constexpr double kLeastRayAngleRad = 0.03;   ///< radians: rays closer than this do not tell where they meet
constexpr double kLeastControlSigma = 0.01;  ///< metres: what a tape or satellite receiver gives at best

/// Place of a record's frame in the group, -1 when it is not there.
int member_of(const Group& group, const std::vector<TieFrame>& frames, int record) {
  for (std::size_t i = 0; i < group.members.size(); ++i)
    if (frames[std::size_t(group.members[i])].record == record && group.held_firmly[i]) return int(i);
  return -1;
}

double median_height(const Group& group) {
  std::vector<double> heights;
  for (const Pose& p : group.network.poses) heights.push_back(p.centre.z());
  std::nth_element(heights.begin(), heights.begin() + std::ptrdiff_t(heights.size() / 2), heights.end());
  return heights[heights.size() / 2];
}

double typical_gsd(const Group& group) {
  return median_height(group) / group.network.cameras[std::size_t(group.network.camera_of_frame[0])].fx_px;
}

struct UsedControl {
  const ControlPoint* point;
  Eigen::Vector2d found;
};

std::vector<UsedControl> control_in_group(const DatumInput& input, const Group& group, double ground_height,
                                          double scale) {
  std::vector<UsedControl> used;
  for (const ControlPoint& p : input.control) {
    if (!p.has_position || p.check) continue;
    const double height = (p.given.z() - ground_height) / scale;
    if (const auto found = found_position(p, height, group, input.frames)) used.push_back({&p, *found});
  }
  return used;
}

std::optional<PlaneSimilarity> similarity_to_control(const std::vector<UsedControl>& used) {
  std::vector<Eigen::Vector2d> from, to;
  for (const UsedControl& u : used) {
    from.push_back(u.found);
    to.push_back(u.point->given.head<2>());
  }
  return fit_similarity(from, to);
}

double control_sigma(const Group& group) {
  return std::max(kLeastControlSigma, 0.5 * typical_gsd(group));
}

/// Standard deviation of the scale of a similarity that is fitted to control, as a share of it: of each
/// coordinate the control's own and that of its marks, against the points' distances from their weighted
/// middle (least squares; Ghilani, Adjustment Computations, on two-dimensional conformal coordinate
/// transformation). `group` in the units of the control.
double scale_sigma_of_control(const std::vector<UsedControl>& used, const Group& group) {
  const double gsd = typical_gsd(group), own = control_sigma(group);
  std::vector<double> weights;
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();
  double sum = 0, spread = 0;
  for (const UsedControl& u : used) {
    const double marks = std::max<double>(1, static_cast<double>(u.point->marks.size()));
    weights.push_back(1 / (own * own + kMarkSigmaPx * kMarkSigmaPx * gsd * gsd / marks));
    middle += weights.back() * u.point->given.head<2>();
    sum += weights.back();
  }
  middle /= sum;
  for (std::size_t i = 0; i < used.size(); ++i)
    spread += weights[i] * (used[i].point->given.head<2>() - middle).squaredNorm();
  return 1 / std::sqrt(spread);
}

/// A control point that two held frames or more show, where their rays meet.
struct MetControl {
  const ControlPoint* point;
  Eigen::Vector3d found;
};

std::vector<MetControl> met_control(const DatumInput& input, const Group& group) {
  std::vector<MetControl> met;
  for (const ControlPoint& p : input.control)
    if (p.has_position && !p.check)
      if (const auto found = found_in_space(p, group, input.frames)) met.push_back({&p, *found});
  return met;
}

/// Best similarity in space (Umeyama, IEEE PAMI 13:376, 1991); empty when the points are fewer than three or
/// lie on a line.
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

/// Control joins the network: its positions, local to `origin`, and its marks.
void add_control(const std::vector<UsedControl>& used, const DatumInput& input, const Eigen::Vector3d& origin,
                 Group& group) {
  const double sigma = control_sigma(group);
  for (const UsedControl& u : used) {
    NetworkPoint point;
    point.footing = Footing::given;
    point.given = point.position = u.point->given - origin;
    point.given_sigma = {sigma, sigma, 2 * sigma};
    const int index = int(group.network.points.size());
    group.network.points.push_back(point);
    for (const Mark& m : u.point->marks) {
      const int member = member_of(group, input.frames, m.record);
      if (member >= 0) group.network.sightings.push_back({member, index, m.at, kMarkSigmaPx});
    }
  }
}

void readjust(Group& group) {
  AdjustmentOptions options;
  options.iterations = 20;
  adjust(group.network, options);
}

/// Control with heights turns and shifts a group that was adjusted in space as a whole; z = 0 becomes the
/// mean height of its ground.
std::optional<Datum> datum_in_space(const DatumInput& input, Group& group) {
  if (!group.relief.supported) return std::nullopt;
  const std::vector<MetControl> met = met_control(input, group);
  std::vector<Eigen::Vector3d> from, to;
  for (const MetControl& m : met) {
    from.push_back(m.found);
    to.push_back(m.point->given);
  }
  const auto fit = best_similarity(from, to);
  if (!fit) return std::nullopt;
  apply(*fit, group.network);
  Eigen::Vector3d middle = Eigen::Vector3d::Zero();
  for (const MetControl& m : met) middle += m.point->given / double(met.size());
  const Eigen::Vector3d plane = mean_plane(group.network);
  Datum datum;
  datum.metric = datum.fixed = true;
  datum.scale_from = datum.north_from = "control";
  if (!input.options.control_crs.empty()) datum.crs = input.options.control_crs;
  datum.origin = {std::round(middle.x()), std::round(middle.y()),
                  plane.x() * middle.x() + plane.y() * middle.y() + plane.z()};
  apply(SpaceSimilarity{1, Eigen::Matrix3d::Identity(), -datum.origin}, group.network);
  // The mean plane is no longer level: heights are held by the control and by each other.
  for (NetworkPoint& point : group.network.points)
    if (point.footing == Footing::near_plane) point.footing = Footing::free_height;
  std::vector<UsedControl> used;
  for (const MetControl& m : met) used.push_back({m.point, m.found.head<2>()});
  datum.scale_sigma_share = scale_sigma_of_control(used, group);
  add_control(used, input, datum.origin, group);
  readjust(group);
  return datum;
}

std::optional<Datum> datum_from_control(const DatumInput& input, Group& group,
                                        std::vector<std::string>& warnings) {
  if (auto datum = datum_in_space(input, group)) return datum;
  const double ground = ground_height_of(input.control);
  auto used =
      control_in_group(input, group, ground, 1e12);  // heights count for nothing while the scale is unknown
  if (used.size() < 2) {
    if (!input.options.control_file.empty())
      warnings.push_back(fmt::format(
          "{} control points are marked in placed frames; at least 2 are needed, so control is not used",
          used.size()));
    return std::nullopt;
  }
  std::optional<PlaneSimilarity> fit = similarity_to_control(used);
  for (int pass = 0; pass < 3 && fit; ++pass) {
    used = control_in_group(input, group, ground, fit->scale);
    fit = similarity_to_control(used);
  }
  if (!fit) return std::nullopt;
  Datum datum;
  datum.metric = datum.fixed = true;
  datum.scale_from = datum.north_from = "control";
  if (!input.options.control_crs.empty()) datum.crs = input.options.control_crs;
  Eigen::Vector3d middle = Eigen::Vector3d::Zero();
  for (const UsedControl& u : used) middle += u.point->given / double(used.size());
  datum.origin = {std::round(middle.x()), std::round(middle.y()), ground};
  fit->shift -= datum.origin.head<2>();
  apply(*fit, group.network);
  datum.scale_sigma_share = scale_sigma_of_control(used, group);
  add_control(used, input, datum.origin, group);
  readjust(group);
  return datum;
}

std::optional<Datum> datum_from_scale_bar(const DatumInput& input, Group& group,
                                          std::vector<std::string>& warnings) {
  const auto& bar = input.options.scale_bar;
  if (bar.size() != 3) return std::nullopt;
  std::vector<Eigen::Vector2d> ends;
  for (const ControlPoint& p : input.control)
    if (p.name == bar[0] || p.name == bar[1])
      if (const auto end = found_position(p, 0, group, input.frames)) ends.push_back(*end);
  if (group.relief.supported) {
    // Ends at different heights: the bar is a length in space.
    std::vector<Eigen::Vector3d> met;
    for (const ControlPoint& p : input.control)
      if (p.name == bar[0] || p.name == bar[1])
        if (const auto end = found_in_space(p, group, input.frames)) met.push_back(*end);
    if (met.size() == 2) ends = {Eigen::Vector2d::Zero(), Eigen::Vector2d((met[0] - met[1]).norm(), 0)};
  }
  const double length = std::stod(bar[2]);
  const double found = ends.size() == 2 ? (ends[0] - ends[1]).norm() : 0;
  if (!(found > 0) || !(length > 0)) {
    warnings.push_back("the scale bar's two marks are not both seen in placed frames, so it is not used");
    return std::nullopt;
  }
  Datum datum;
  datum.metric = true;
  datum.scale_from = "scale bar";
  datum.scale_sigma_share = std::sqrt(2.0) * kMarkSigmaPx * typical_gsd(group) / found;
  apply({length / found, 0, Eigen::Vector2d::Zero()}, group.network);
  return datum;
}

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
  apply(*fit, group.network);
  const Eigen::Vector3d plane = mean_plane(group.network);
  Datum datum;
  datum.metric = datum.fixed = true;
  datum.scale_from = datum.north_from = "positions";
  if (!input.positions_crs.empty()) datum.crs = input.positions_crs;
  datum.scale_sigma_share = sigma / spread.head<2>().norm();
  datum.origin = {std::round(middle.x()), std::round(middle.y()),
                  plane.x() * middle.x() + plane.y() * middle.y() + plane.z()};
  apply(SpaceSimilarity{1, Eigen::Matrix3d::Identity(), -datum.origin}, group.network);
  for (NetworkPoint& point : group.network.points)
    if (point.footing == Footing::near_plane) point.footing = Footing::free_height;
  for (std::size_t k = 0; k < members.size(); ++k)
    group.network.known_centres.push_back(
        {int(members[k]), to[k] - datum.origin, {sigma, sigma, 1.5 * sigma}});
  readjust(group);
  return datum;
}

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

/// Direction in the frame as stored that points up when the frame is displayed (Exif orientation, CIPA
/// DC-008).
Eigen::Vector3d displayed_up(int orientation) {
  switch (orientation) {
    case 3:
    case 4:
      return {0, 1, 0};
    case 5:
    case 6:
      return {-1, 0, 0};
    case 7:
    case 8:
      return {1, 0, 0};
    default:
      return {0, -1, 0};
  }
}

/// Without any knowledge of north the first placed frame, as displayed, points up: arbitrary, but the same
/// every time.
void turn_first_frame_up(const DatumInput& input, Group& group) {
  for (std::size_t i = 0; i < group.members.size(); ++i) {
    if (!group.held_firmly[i]) continue;
    const int record = input.frames[std::size_t(group.members[i])].record;
    const Eigen::Vector3d up = group.network.poses[i].world_from_camera *
                               displayed_up(input.flight.frames[std::size_t(record)].source.orientation);
    apply({1, std::atan2(up.x(), up.y()), Eigen::Vector2d::Zero()}, group.network);
    return;
  }
}

struct LineOfSight {
  Eigen::Vector3d centre, ray;  // of the world; the ray is as long as Camera::ray makes it
};

// Nothing where the mark's frame is not of the group.
std::optional<LineOfSight> line_of_sight(const Mark& mark, const Group& group,
                                         const std::vector<TieFrame>& frames) {
  const int member = member_of(group, frames, mark.record);
  if (member < 0) return std::nullopt;
  const Camera& camera =
      group.network.cameras[std::size_t(group.network.camera_of_frame[std::size_t(member)])];
  const Pose& pose = group.network.poses[std::size_t(member)];
  return LineOfSight{pose.centre, pose.world_from_camera * camera.ray(camera.undistort(mark.at))};
}

}  // namespace

std::optional<Eigen::Vector2d> found_position(const ControlPoint& point, double height, const Group& group,
                                              const std::vector<TieFrame>& frames, int* marks) {
  Eigen::Vector2d sum = Eigen::Vector2d::Zero();
  double weight = 0;
  int count = 0;
  for (const Mark& m : point.marks) {
    const auto seen = line_of_sight(m, group, frames);
    if (!seen || seen->ray.z() > -0.05) continue;
    const double range = (height - seen->centre.z()) / seen->ray.z();
    const double w = 1 / (range * range);  // a pixel is larger on the ground the farther it looks
    sum += w * (seen->centre + range * seen->ray).head<2>();
    weight += w;
    ++count;
  }
  if (marks != nullptr) *marks = count;
  if (count == 0) return std::nullopt;
  return Eigen::Vector2d(sum / weight);
}

std::optional<Eigen::Vector3d> found_in_space(const ControlPoint& point, const Group& group,
                                              const std::vector<TieFrame>& frames) {
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  Eigen::Vector3d towards = Eigen::Vector3d::Zero(), first = Eigen::Vector3d::Zero();
  double widest = 1;
  int count = 0;
  for (const Mark& m : point.marks) {
    const auto seen = line_of_sight(m, group, frames);
    if (!seen) continue;
    const Eigen::Vector3d ray = seen->ray.normalized();
    const Eigen::Matrix3d across = Eigen::Matrix3d::Identity() - ray * ray.transpose();
    sum += across;
    towards += across * seen->centre;
    if (count++ == 0) first = ray;
    widest = std::min(widest, first.dot(ray));
  }
  if (count < 2 || widest > std::cos(kLeastRayAngleRad)) return std::nullopt;
  return Eigen::Vector3d(sum.ldlt().solve(towards));
}

Datum set_datum(const DatumInput& input, Group& group, std::vector<std::string>& warnings) {
  if (auto datum = datum_from_control(input, group, warnings)) return *datum;
  auto bar = datum_from_scale_bar(input, group, warnings);
  if (!bar)
    if (auto datum = datum_from_positions(input, group)) return *datum;
  Datum datum = bar ? *bar : Datum{};
  if (!bar && input.options.height_m) {
    datum.metric = true;
    datum.scale_from = "height";
    datum.scale_sigma_share = 0.2;
    apply({*input.options.height_m / median_height(group), 0, Eigen::Vector2d::Zero()}, group.network);
  }
  turn_first_frame_up(input, group);
  return datum;
}

}  // namespace lookdown::place
