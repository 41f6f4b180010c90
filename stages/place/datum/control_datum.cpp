#include <fmt/core.h>

#include <Eigen/Geometry>

#include <algorithm>
#include <cmath>

#include "stages/place/datum/datum_parts.h"

namespace lookdown::place {
namespace {

constexpr double kLeastControlSigma = 0.01;  ///< metres: what a tape or satellite receiver gives at best

struct UsedControl {
  const ControlPoint* point;
  Eigen::Vector2d found;  ///< where the frames show it, in the group's units
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

/// What a similarity that is fitted to control says of itself.
struct FitOfControl {
  double scale_sigma_share = 0;
  double sigma_of_unit_weight = 1;  ///< how many times farther off the points lie than expected; 1 at least
  double rms_m = 0;
};

/// Least squares with a standard deviation of each coordinate that is the control's own and that of its marks
/// (Ghilani, Adjustment Computations, on two-dimensional conformal coordinate transformation, and on the
/// standard deviation of unit weight: weighted squares over the redundancy, two coordinates a point less the
/// four parameters). `used` as transformed, `group` in the units of the control.
FitOfControl fit_of_control(const std::vector<UsedControl>& used, const Group& group) {
  const double gsd = typical_gsd(group), own = control_sigma(group);
  std::vector<double> weights;
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();
  double sum = 0, spread = 0, square = 0, weighted_square = 0;
  for (const UsedControl& u : used) {
    const double marks = std::max<double>(1, static_cast<double>(u.point->marks.size()));
    weights.push_back(1 / (own * own + kMarkSigmaPx * kMarkSigmaPx * gsd * gsd / marks));
    middle += weights.back() * u.point->given.head<2>();
    sum += weights.back();
    const double off = (u.found - u.point->given.head<2>()).squaredNorm();
    square += off / double(used.size());
    weighted_square += weights.back() * off;
  }
  middle /= sum;
  for (std::size_t i = 0; i < used.size(); ++i)
    spread += weights[i] * (used[i].point->given.head<2>() - middle).squaredNorm();
  FitOfControl fit;
  const double redundancy = 2.0 * double(used.size()) - 4;
  if (redundancy > 0) fit.sigma_of_unit_weight = std::max(1.0, std::sqrt(weighted_square / redundancy));
  fit.scale_sigma_share = fit.sigma_of_unit_weight / std::sqrt(spread);
  fit.rms_m = std::sqrt(square);
  return fit;
}

/// Beyond this the points and the frames speak of different places: names exchanged, a wrong mark, other
/// units. What bends a long flight stays below it (common practice: three for a gross error; ten leaves
/// room).
constexpr double kContradiction = 10;

void warn_of_contradiction(const FitOfControl& fit, std::vector<std::string>& warnings) {
  if (fit.sigma_of_unit_weight < kContradiction) return;
  warnings.push_back(fmt::format(
      "the control points contradict the frames: they lie {:.2g} m from where the frames show them "
      "(root mean square), {:.0f} times as far as marks and tape explain; look for exchanged names, "
      "a wrong mark, or coordinates in other units",
      fit.rms_m, fit.sigma_of_unit_weight));
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

/// With control in the network the group is adjusted once more.
void finish(Datum& datum, const std::vector<UsedControl>& used, const DatumInput& input, Group& group,
            std::vector<std::string>& warnings) {
  datum.scale_from = datum.north_from = "control";
  if (!input.options.control_crs.empty()) datum.crs = input.options.control_crs;
  const FitOfControl fit = fit_of_control(used, group);
  datum.scale_sigma_share = fit.scale_sigma_share;
  warn_of_contradiction(fit, warnings);
  add_control(used, input, datum.origin, group);
  readjust(group);
}

/// Control with heights turns and shifts a group that was adjusted in space as a whole; z = 0 becomes the
/// mean height of its ground.
std::optional<Datum> datum_in_space(const DatumInput& input, Group& group,
                                    std::vector<std::string>& warnings) {
  if (!group.relief.supported) return std::nullopt;
  const std::vector<MetControl> met = met_control(input, group);
  std::vector<Eigen::Vector3d> from, to;
  for (const MetControl& m : met) {
    from.push_back(m.found);
    to.push_back(m.point->given);
  }
  const auto fit = best_similarity(from, to);
  if (!fit) return std::nullopt;
  Eigen::Vector3d middle = Eigen::Vector3d::Zero();
  for (const MetControl& m : met) middle += m.point->given / double(met.size());
  Datum datum = settle_in_space(*fit, middle, group);
  std::vector<UsedControl> used;
  for (const MetControl& m : met)
    used.push_back({m.point, (fit->scale * (fit->turn * m.found) + fit->shift).head<2>()});
  finish(datum, used, input, group, warnings);
  return datum;
}

}  // namespace

std::optional<Datum> datum_from_control(const DatumInput& input, Group& group,
                                        std::vector<std::string>& warnings) {
  if (auto datum = datum_in_space(input, group, warnings)) return datum;
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
  Eigen::Vector3d middle = Eigen::Vector3d::Zero();
  for (const UsedControl& u : used) middle += u.point->given / double(used.size());
  datum.origin = {std::round(middle.x()), std::round(middle.y()), ground};
  fit->shift -= datum.origin.head<2>();
  apply(*fit, group.network);
  for (UsedControl& u : used)
    u.found =
        fit->scale * (Eigen::Rotation2Dd(fit->turn_rad) * u.found) + fit->shift + datum.origin.head<2>();
  finish(datum, used, input, group, warnings);
  return datum;
}

}  // namespace lookdown::place
