#include "stages/place/datum/accuracy.h"

#include <fmt/core.h>

#include <cmath>

namespace lookdown::place {
namespace {

/// Fewer check points than this do not carry an accuracy statement (NSSDA asks for at least 20).
constexpr int kEnoughCheckPoints = 20;
constexpr double kNssdaFactor = 1.7308;

std::string scale_words(const Datum& datum) {
  if (datum.scale_from == "none") return "The scale is not known: lengths are in mosaic pixels. ";
  if (datum.scale_from == "height")
    return "The scale rests on the stated height alone and may be off by a fifth. ";
  if (datum.scale_sigma_share)
    return fmt::format("The scale comes from the {} and is known to about {:.2g} % (one sigma). ",
                       datum.scale_from == "control" ? "control points" : datum.scale_from,
                       100 * *datum.scale_sigma_share);
  return "The scale comes from control points. ";
}

/// Millimetres below a centimetre, so that a small residual does not read as none.
std::string length_words(double metres) {
  return metres < 0.01 ? fmt::format("{:.1f} mm", 1000 * metres) : fmt::format("{:.3f} m", metres);
}

std::string check_words(const Accuracy& a) {
  if (a.check_points == 0)
    return a.control_rmse_m ? fmt::format(
                                  "The fit leaves {} RMSE on the control points it used, which is not "
                                  "an accuracy; withhold check points to get one.",
                                  length_words(*a.control_rmse_m))
                            : "No check points were given, so no accuracy on the ground can be stated.";
  std::string words = fmt::format(
      "On {} withheld check points the RMSE is {} in x, {} in y, {} horizontally; NSSDA "
      "horizontal accuracy at 95 % confidence {}.",
      a.check_points, length_words(*a.check_rmse_x_m), length_words(*a.check_rmse_y_m),
      length_words(*a.check_rmse_r_m), length_words(*a.nssda_95_m));
  if (a.check_rmse_z_m)
    words += fmt::format(" Heights of the check points are off by {} RMSE.", length_words(*a.check_rmse_z_m));
  if (a.check_points < kEnoughCheckPoints)
    words += fmt::format(" With fewer than {} check points this is an indication only.", kEnoughCheckPoints);
  return words;
}

}  // namespace

Accuracy assess(const Group& group, const Datum& datum, const std::vector<ControlPoint>& control,
                const std::vector<TieFrame>& frames) {
  Accuracy a;
  a.tie_point_rmse_px = rmse_px(group.network);
  double fitted = 0, x = 0, y = 0, z = 0;
  int fitted_points = 0, heights = 0;
  for (const ControlPoint& p : control) {
    if (datum.scale_from != "control" || !p.has_position) continue;
    ControlResidual r{p.name, p.check, p.given.x(), p.given.y(), p.given.z(), 0, 0, 0, {}};
    const auto found = found_position(p, p.given.z() - datum.origin.z(), group, frames, &r.marks);
    if (!found) continue;
    Eigen::Vector2d off = *found + datum.origin.head<2>() - p.given.head<2>();
    if (const auto met = group.relief.supported ? found_in_space(p, group, frames) : std::nullopt) {
      off = (*met + datum.origin - p.given).head<2>();
      r.dz = met->z() + datum.origin.z() - p.given.z();
      if (p.check) {
        z += *r.dz * *r.dz;
        ++heights;
      }
    }
    r.dx = off.x();
    r.dy = off.y();
    a.points.push_back(r);
    if (p.check) {
      x += off.x() * off.x();
      y += off.y() * off.y();
      ++a.check_points;
    } else {
      fitted += off.squaredNorm();
      ++fitted_points;
    }
  }
  // Two points fix scale, north and origin with nothing left over.
  if (fitted_points > 2) a.control_rmse_m = std::sqrt(fitted / fitted_points);
  if (a.check_points > 0) {
    a.check_rmse_x_m = std::sqrt(x / a.check_points);
    a.check_rmse_y_m = std::sqrt(y / a.check_points);
    a.check_rmse_r_m = std::sqrt((x + y) / a.check_points);
    if (heights > 0) a.check_rmse_z_m = std::sqrt(z / heights);
    a.nssda_95_m = kNssdaFactor * *a.check_rmse_r_m;
  }
  a.sentence = scale_words(datum) + check_words(a);
  return a;
}

}  // namespace lookdown::place
