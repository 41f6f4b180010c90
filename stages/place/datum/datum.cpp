#include "stages/place/datum/datum.h"

#include <cmath>

#include "pipeline/base/robust_statistics.h"
#include "stages/place/adjustment/level.h"
#include "stages/place/datum/datum_parts.h"

namespace lookdown::place {
namespace {

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

}  // namespace

int member_of(const Group& group, const std::vector<TieFrame>& frames, int record) {
  for (std::size_t i = 0; i < group.members.size(); ++i)
    if (frames[std::size_t(group.members[i])].record == record && group.held_firmly[i]) return int(i);
  return -1;
}

double median_height(const Group& group) {
  std::vector<double> heights;
  for (const Pose& p : group.network.poses) heights.push_back(p.centre.z());
  return median_in_place(heights);
}

double typical_gsd(const Group& group) {
  return median_height(group) / group.network.camera_of(0).fx_px;
}

Datum settle_in_space(const SpaceSimilarity& fit, const Eigen::Vector3d& middle, Group& group) {
  apply(fit, group.network);
  const Eigen::Vector3d plane = mean_plane(group.network);
  Datum datum;
  datum.metric = datum.fixed = true;
  datum.origin = {std::round(middle.x()), std::round(middle.y()),
                  plane.x() * middle.x() + plane.y() * middle.y() + plane.z()};
  apply(SpaceSimilarity{1, Eigen::Matrix3d::Identity(), -datum.origin}, group.network);
  for (NetworkPoint& point : group.network.points)
    if (point.footing == Footing::near_plane) point.footing = Footing::free_height;
  return datum;
}

void readjust(Group& group) {
  AdjustmentOptions options;
  options.iterations = 20;
  adjust(group.network, options);
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
