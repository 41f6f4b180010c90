#include "stages/place/horizon_views.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"

namespace lookdown::place {
namespace {

// Frames that look down lean against each other by at most twice their swing; a view to the horizon leans
// against them by more than 50 degrees, since no common lens shows a horizon from closer to straight down.
constexpr double kMostLeanDeg = 35;
// One short tie may be an accident.
constexpr int kEnoughMatches = 60;

bool views_horizon(const FlightRecord& flight, const TieFrame& frame) {
  return flight.frames[std::size_t(frame.record)].decision.view == View::horizon;
}

// Angle between the optical axes of two frames of one plane, roughly: the perspective terms of the homography
// between ideal images are tan(lean) when the first looks straight down.
double lean_deg(const Tie& tie, const TieFrame& a, const TieFrame& b) {
  const Eigen::Matrix3d ideal = b.camera.matrix().inverse() * tie.b_from_a.matrix * a.camera.matrix();
  const Eigen::Matrix3d back = ideal.inverse();
  const double there = std::hypot(ideal(2, 0), ideal(2, 1)) / std::abs(ideal(2, 2));
  const double again = std::hypot(back(2, 0), back(2, 1)) / std::abs(back(2, 2));
  return std::atan(std::max(there, again)) / kDegree;
}

bool ties_like_one_that_looks_down(int index, const std::vector<TieFrame>& frames,
                                   const std::vector<Tie>& ties, const FlightRecord& flight) {
  int down = 0, leaning = 0;
  for (const Tie& tie : ties) {
    if (tie.a != index && tie.b != index) continue;
    if (views_horizon(flight, frames[std::size_t(tie.a == index ? tie.b : tie.a)])) continue;
    const double lean = lean_deg(tie, frames[std::size_t(tie.a)], frames[std::size_t(tie.b)]);
    (lean < kMostLeanDeg ? down : leaning) += int(tie.matches.size());
  }
  return down >= kEnoughMatches && down > 3 * leaning;
}

/// True where the horizon's point nearest to the optical axis lies in the picture.
bool shows_horizon(const Pose& pose, const Camera& camera) {
  const Eigen::Vector3d down = down_in_camera(pose);
  const Eigen::Vector3d level = Eigen::Vector3d::UnitZ() - down.z() * down;
  if (level.z() < 1e-9) return false;  // straight down
  const Eigen::Vector2d off(level.x() / level.z() * camera.fx_px, level.y() / level.z() * camera.fy_px);
  if (off.norm() > camera.monotonic_radius_px()) return false;
  const auto seen = camera.distort({camera.cx_px + off.x(), camera.cy_px + off.y()});
  return seen.x >= 0 && seen.y >= 0 && seen.x <= camera.width_px - 1 && seen.y <= camera.height_px - 1;
}

void drop_ties_of_horizon_views(const std::vector<TieFrame>& frames, const FlightRecord& flight,
                                std::vector<Tie>& ties) {
  std::erase_if(ties, [&](const Tie& tie) {
    return views_horizon(flight, frames[std::size_t(tie.a)]) ||
           views_horizon(flight, frames[std::size_t(tie.b)]);
  });
}

void take_back_horizon(FrameRecord& frame) {
  spdlog::debug("{}: ties to frames that look down, so its horizon is taken back", frame.source.file);
  frame.horizon.reset();
  std::erase_if(frame.tilt_sources, [](const Tilt& tilt) { return tilt.from == "horizon"; });
  frame.tilt.reset();
  frame.decision.view = View::nadir;
}

}  // namespace

bool flight_of_horizons(const FlightRecord& flight) {
  std::size_t usable = 0, horizons = 0;
  for (const FrameRecord& frame : flight.frames) {
    if (frame.fault || frame.decision.view == View::other) continue;
    ++usable;
    if (frame.decision.view == View::horizon) ++horizons;
  }
  return 2 * horizons >= usable;
}

void settle_horizon_views(const std::vector<TieFrame>& frames, std::vector<Tie>& ties, FlightRecord& flight) {
  if (flight_of_horizons(flight)) return;
  std::vector<std::size_t> taken_back;
  for (std::size_t i = 0; i < frames.size(); ++i)
    if (views_horizon(flight, frames[i]) && ties_like_one_that_looks_down(int(i), frames, ties, flight))
      taken_back.push_back(i);
  for (const std::size_t i : taken_back) take_back_horizon(flight.frames[std::size_t(frames[i].record)]);
  drop_ties_of_horizon_views(frames, flight, ties);
}

void set_views_to_horizon_aside(const std::vector<TieFrame>& frames, Group& group, std::vector<Tie>& ties,
                                FlightRecord& flight) {
  if (group.tilt_is_a_guess || flight_of_horizons(flight)) return;
  for (std::size_t i = 0; i < group.members.size(); ++i) {
    if (!group.held_firmly[i] || !shows_horizon(group.network.poses[i], group.network.camera_of(i))) continue;
    FrameRecord& frame = flight.frames[std::size_t(frames[std::size_t(group.members[i])].record)];
    spdlog::debug("{}: its place shows that it looks at the horizon", frame.source.file);
    frame.decision.view = View::horizon;
    frame.placement.why_not = "looks at the horizon";
    group.held_firmly[i] = false;
  }
  drop_ties_of_horizon_views(frames, flight, ties);
}

}  // namespace lookdown::place
