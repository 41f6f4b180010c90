#include "stages/place/single_image.h"

#include <fmt/core.h>

#include <Eigen/Geometry>
#include <tuple>

#include "stages/place/canvas.h"

namespace lookdown::place {
namespace {

constexpr double kLargestTiltDeg = 60;

bool usable(const FrameRecord& frame) {
  if (frame.fault || frame.info.camera.fx_px <= 0) return false;
  if (frame.decision.verdict == Verdict::drop || frame.decision.view == View::horizon) return false;
  return !frame.tilt || frame.tilt->off_nadir_deg <= kLargestTiltDeg;
}

auto merit(const FrameRecord& frame) {
  const double tilt_deg = frame.tilt ? frame.tilt->off_nadir_deg : 0;
  const double sharpness = frame.sharpness ? frame.sharpness->sharpness.value_or(0) : 0;
  return std::make_tuple(frame.decision.verdict == Verdict::keep, -tilt_deg, sharpness);
}

FrameRecord* best_frame(FlightRecord& flight) {
  FrameRecord* best = nullptr;
  for (FrameRecord& frame : flight.frames)
    if (usable(frame) && (!best || merit(frame) > merit(*best))) best = &frame;
  return best;
}

// The frame's top stays up; only the tilt is taken out.
Pose hanging_pose(const FrameRecord& frame, double height) {
  Pose pose = straight_down({0, 0, height});
  if (!frame.tilt) return pose;
  const auto& d = frame.tilt->down_in_camera;
  const Eigen::Vector3d down(d[0], d[1], d[2]);
  const Eigen::Quaterniond upright = Eigen::Quaterniond::FromTwoVectors(down, Eigen::Vector3d::UnitZ());
  pose.world_from_camera = pose.world_from_camera * upright.toRotationMatrix();
  return pose;
}

}  // namespace

void place_lone_frame(FlightRecord& flight, const Options& options) {
  FrameRecord* const frame = best_frame(flight);
  if (!frame) return;
  FramePlacement& p = frame->placement;
  p.camera = frame->info.camera;
  // Without metres the height that makes a pixel of the mosaic one unit.
  p.pose = hanging_pose(*frame, options.height_m.value_or(p.camera.fx_px));
  const Canvas canvas =
      choose_canvas({{p.camera, p.pose, true, false, {}}}, options.height_m ? options.gsd_m.value_or(0) : 1);
  if (canvas.width_px == 0) return;
  p.placed = true;
  p.group = 0;
  p.why_not.clear();
  p.mosaic_from_frame = canvas.mosaic_from_ground() * ground_from_frame(p.pose, p.camera);
  p.off_nadir_sigma_deg = frame->tilt ? frame->tilt->sigma_deg : 0;

  FlightPlacement& placement = flight.placement;
  placement.groups = 1;
  placement.mosaic_width_px = canvas.width_px;
  placement.mosaic_height_px = canvas.height_px;
  placement.plane_heights = {0};
  placement.scale_from = options.height_m ? "height" : "none";
  placement.north_from = "arbitrary";
  if (options.height_m) {
    placement.gsd_m = canvas.gsd;
    placement.geotransform = {canvas.west, canvas.gsd, 0, canvas.north, 0, -canvas.gsd};
  }
  placement.accuracy.sentence = "One frame alone: there is nothing to check its place against.";
  flight.warnings.push_back(
      fmt::format("No two frames could be joined: {} is shown alone, {}.", frame->source.file,
                  frame->tilt ? fmt::format("laid flat by its tilt from {}", frame->tilt->from)
                              : "as if it had looked straight down"));
}

}  // namespace lookdown::place
