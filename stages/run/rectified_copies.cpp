#include "stages/run/rectified_copies.h"

#include <fmt/core.h>

#include <algorithm>

namespace lookdown {
namespace {

std::filesystem::path file_of(const FrameRecord& frame, const RunContext& context) {
  return context.out / "rectified" / (frame.source.stem + ".tif");
}

bool looks_aside(const FrameRecord& frame) {
  const bool usable = !frame.fault && frame.decision.verdict != Verdict::drop;
  return usable && (frame.decision.view == View::oblique || frame.decision.view == View::horizon);
}

// Where a frame lies, and in whose coordinates.
struct Lie {
  Camera camera;
  Pose pose;
  std::optional<std::string> crs;
};

std::optional<Lie> lie_of(const FrameRecord& frame, const FlightRecord& record,
                          const rectify::Options& options) {
  const FramePlacement& placement = frame.placement;
  if (placement.placed && placement.group == 0)
    return Lie{placement.camera, placement.pose, record.placement.crs};
  if (placement.placed || !frame.tilt || !options.height_m) return std::nullopt;
  const auto& down = frame.tilt->down_in_camera;
  return Lie{frame.info.camera, rectify::pose_from_down({down[0], down[1], down[2]}, *options.height_m),
             std::nullopt};
}

Result<std::filesystem::path> write_one(const FrameRecord& frame, const Lie& lie,
                                        const rectify::Options& options, const RunContext& context) {
  const auto view = rectify::view_from_pose(lie.camera, lie.pose, options);
  if (!view) return view.error();
  return rectify::write_rectified(frame, *view, lie.crs, file_of(frame, context), options, context.reader);
}

}  // namespace

void write_rectified_obliques(FlightRecord& record, const rectify::Options& options, RunContext& context) {
  int without_height = 0;
  for (const FrameRecord& frame : record.frames) {
    if (!looks_aside(frame)) continue;
    const std::optional<Lie> lie = lie_of(frame, record, options);
    without_height += !lie && !frame.placement.placed && frame.tilt && !options.height_m;
    if (!lie) continue;
    if (const auto copy = write_one(frame, *lie, options, context); !copy)
      record.warnings.push_back(frame.source.file + ": " + copy.error().message());
  }
  if (without_height > 0)
    record.warnings.push_back(fmt::format(
        "{} that could not be placed but whose tilt is known could be laid onto the ground too: "
        "say how high the camera was (--camera-height-m)",
        without_height == 1 ? "1 oblique frame" : fmt::format("{} oblique frames", without_height)));
}

void write_marked_ground(FlightRecord& record, const rectify::Options& options, RunContext& context) {
  for (const rectify::GroundSigns& signs : rectify::read_ground_signs(options.ground_file)) {
    const auto frame = std::find_if(record.frames.begin(), record.frames.end(),
                                    [&](const FrameRecord& f) { return f.source.file == signs.file; });
    if (frame == record.frames.end()) {
      record.warnings.push_back("The ground file names " + signs.file + ", which is not in this flight.");
      continue;
    }
    if (frame->fault) continue;
    const auto view = rectify::view_from_signs(frame->info.camera, signs, options);
    const auto copy =
        view ? rectify::write_rectified(*frame, *view, {}, file_of(*frame, context), options, context.reader)
             : Result<std::filesystem::path>(view.error());
    if (!copy) record.warnings.push_back(signs.file + ": " + copy.error().message());
  }
}

}  // namespace lookdown
