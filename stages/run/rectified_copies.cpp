#include "stages/run/rectified_copies.h"

#include <fmt/core.h>

#include <algorithm>
#include <functional>
#include <vector>

#include "pipeline/record/frame_memory.h"

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

// The frame, what it becomes on the ground, and the encoder's copy of that.
constexpr std::int64_t kBytesAPixelRectified = 16;

// One copy to make.
struct Work {
  const FrameRecord* frame;
  std::function<Result<rectify::GroundView>()> view;
  std::optional<std::string> crs;
};

void write_copies(const std::vector<Work>& work, FlightRecord& record, const rectify::Options& options,
                  RunContext& context) {
  std::vector<std::optional<Fault>> faults(work.size());
  context.progress.start("rectified copies", work.size());
  context.scheduler.for_each_frame(
      work.size(), bytes_for_largest_frame(record, kBytesAPixelRectified),
      [&](std::size_t i) {
        const auto view = work[i].view();
        const auto copy =
            view ? rectify::write_rectified(*work[i].frame, *view, work[i].crs,
                                            file_of(*work[i].frame, context), options, context.reader)
                 : Result<std::filesystem::path>(view.error());
        if (!copy) faults[i] = copy.error();
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) faults[i] = fault;
        if (faults[i]) record.warnings.push_back(work[i].frame->source.file + ": " + faults[i]->message());
        context.progress.step(i + 1);
      });
  context.progress.finish();
}

}  // namespace

void write_rectified_obliques(FlightRecord& record, const rectify::Options& options, RunContext& context) {
  std::vector<Work> work;
  int without_height = 0;
  for (const FrameRecord& frame : record.frames) {
    if (!looks_aside(frame)) continue;
    const std::optional<Lie> lie = lie_of(frame, record, options);
    without_height += !lie && !frame.placement.placed && frame.tilt && !options.height_m;
    if (!lie) continue;
    work.push_back({&frame,
                    [lie, &options] { return rectify::view_from_pose(lie->camera, lie->pose, options); },
                    lie->crs});
  }
  write_copies(work, record, options, context);
  if (without_height > 0)
    record.warnings.push_back(fmt::format(
        "{} that could not be placed but whose tilt is known could be laid onto the ground too: "
        "say how high the camera was (--camera-height-m)",
        without_height == 1 ? "1 oblique frame" : fmt::format("{} oblique frames", without_height)));
}

void write_marked_ground(FlightRecord& record, const rectify::Options& options, RunContext& context) {
  std::vector<Work> work;
  for (const rectify::GroundSigns& signs : rectify::read_ground_signs(options.ground_file)) {
    const auto frame = std::find_if(record.frames.begin(), record.frames.end(),
                                    [&](const FrameRecord& f) { return f.source.file == signs.file; });
    if (frame == record.frames.end()) {
      record.warnings.push_back("The ground file names " + signs.file + ", which is not in this flight.");
      continue;
    }
    if (frame->fault) continue;
    work.push_back({&*frame,
                    [signs, &options, &camera = frame->info.camera] {
                      return rectify::view_from_signs(camera, signs, options);
                    },
                    {}});
  }
  write_copies(work, record, options, context);
}

}  // namespace lookdown
