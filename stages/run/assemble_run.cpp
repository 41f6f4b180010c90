#include "stages/run/assemble_run.h"

#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <nlohmann/json.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/record/frame_memory.h"
#include "pipeline/record/record_json.h"
#include "stages/cull/selection/export.h"
#include "stages/cull/selection/set_cover.h"
#include "stages/level/sun_tilt.h"
#include "stages/run/analyse_frames.h"
#include "stages/run/inputs/choices.h"
#include "stages/run/rectified_copies.h"
#include "stages/run/stage_cache.h"

namespace lookdown {
namespace {

using Clock = std::chrono::steady_clock;

// Notes in the record how long a step took.
class Timed {
 public:
  Timed(FlightRecord& record, const char* stage) : record_(record), started_(Clock::now()) {
    record_.timings.push_back({stage, 0, 0, 0});
  }
  ~Timed() {
    record_.timings.back().seconds = std::chrono::duration<double>(Clock::now() - started_).count();
  }
  void from_cache(bool restored) const {
    record_.timings.back().done = static_cast<int>(record_.frames.size());
    record_.timings.back().from_cache = restored ? record_.timings.back().done : 0;
  }
  void of_tiles(const mosaic::TileCount& tiles) const {
    record_.timings.back().done = tiles.all;
    record_.timings.back().from_cache = tiles.reused;
  }
  Timed(const Timed&) = delete;
  Timed& operator=(const Timed&) = delete;

 private:
  FlightRecord& record_;
  Clock::time_point started_;
};

// The frame in its own depth, its levelled copy and the encoder's copy of that, each of up to 8 bytes.
constexpr std::int64_t kBytesAPixelOfCopies = 24;

void write_levelled_copies(FlightRecord& record, const FlightOptions& options, RunContext& context) {
  std::vector<const FrameRecord*> level_frames;
  for (const FrameRecord& frame : record.frames)
    if (!frame.fault && frame.decision.verdict != Verdict::drop && frame.horizon)
      level_frames.push_back(&frame);
  level::CopyOptions copies = options.copies;
  if (options.mosaic.bits == "16") copies.bits = "16";  // one word for all that a run makes
  std::vector<std::optional<Fault>> faults(level_frames.size());
  context.progress.start("levelled copies", level_frames.size());
  context.scheduler.for_each_frame(
      level_frames.size(), bytes_for_largest_frame(record, kBytesAPixelOfCopies),
      [&](std::size_t i) {
        const auto copy =
            level::write_levelled(*level_frames[i], context.out / "levelled", copies, context.reader);
        if (!copy) faults[i] = copy.error();
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) faults[i] = Fault{"level", level_frames[i]->source.file, fault->detail, fault->hint};
        if (faults[i]) record.warnings.push_back(faults[i]->message());
        context.progress.step(i + 1);
      });
  context.progress.finish();
}

Step place_step(FlightOptions options) {
  return {place::kPlaceVersion,
          [options](OptionVisitor& visitor) mutable { place::describe(options.place, visitor); },
          {options.place.control_file, options.place.marks_file, options.place.camera_positions},
          false,
          ""};
}

Step overlap_step(FlightOptions options) {
  const auto describe_both = [options](OptionVisitor& visitor) mutable {
    cull::describe(options.cull, visitor);
    glare::describe(options.glare, visitor);
  };
  return {
      fmt::format("overlap {} {}", cull::kMeasureVersion, glare::kFindVersion), describe_both, {}, true, ""};
}

Step mosaic_step(FlightOptions options) {
  return {fmt::format("{} {}", mosaic::kMosaicVersion, surface::kSurfaceVersion),
          [options](OptionVisitor& visitor) mutable { mosaic::describe(options.mosaic, visitor); },
          {},
          false,
          "mosaic"};
}

Step surface_step(FlightOptions options) {
  return {surface::kSurfaceVersion,
          [options](OptionVisitor& visitor) mutable { surface::describe(options.surface, visitor); },
          {},
          false,
          "surface"};
}

void warn_about_faults(FlightRecord& record) {
  for (const FrameRecord& frame : record.frames)
    if (frame.fault) record.warnings.push_back(frame.source.file + " " + *frame.fault + ".");
}

}  // namespace

FlightRecord run_flight(const std::vector<std::filesystem::path>& files, const FlightOptions& options,
                        Extent extent, const Provenance& provenance, RunContext& context) {
  // A mistake in the choices or the marks must show before hours of work, not after.
  const Choices choices = options.choices_file.empty() ? Choices{} : read_choices(options.choices_file);
  const level::SunMarksByFile sun_marks = options.sun_marks_file.empty()
                                              ? level::SunMarksByFile{}
                                              : level::read_sun_marks(options.sun_marks_file);
  if (!options.rectify.ground_file.empty()) (void)rectify::read_ground_signs(options.rectify.ground_file);

  const auto started = Clock::now();
  FlightRecord record = inspect::inspect(files, options.inspect, context);
  record.program_version = provenance.program_version;
  record.command_line = provenance.command_line;
  record.options_json = provenance.options_json;
  record.timings.push_back({"inspect", std::chrono::duration<double>(Clock::now() - started).count(),
                            static_cast<int>(files.size()), 0});
  if (extent >= Extent::measure) {
    const Timed timed(record, "measure");
    const cull::CoarseHorizons coarse_horizons = analyse_frames(record, options, context);
    level::add_tilts_from_sun(record, sun_marks);
    cull::decide(record, options.cull, coarse_horizons);
    apply_rescues(record, choices);
    glare::forget_blurred(record, context.out);
  }
  warn_about_faults(record);
  if (extent >= Extent::place) {
    const Timed timed(record, "place");
    timed.from_cache(remember_step(place_step(options), record, context, [&] {
      place::place(record, options.place, context);
      level::combine_tilts(record);
    }));
    if (extent >= Extent::mosaic) mosaic::check_size(record, options.mosaic, context.out);
  }
  if (extent >= Extent::place) {
    const Timed timed(record, "compare overlaps");
    timed.from_cache(remember_step(overlap_step(options), record, context, [&] {
      glare::refine_across_frames(record, options.glare, context);
      cull::settle_by_overlap(record, options.cull, context);
    }));
    glare::forget_blurred(record, context.out);
  }
  if (extent >= Extent::mosaic) {
    const Timed timed(record, "surface");
    timed.from_cache(remember_step(surface_step(options), record, context,
                                   [&] { surface::build(record, options.surface, context); }));
  }
  // Where frames lie, what comparing them told and the heights under them do not depend on what a person
  // drops, so that these steps need not be done again for it.
  if (extent >= Extent::measure) apply_choices(record, choices);
  if (extent >= Extent::place && options.cull.cover > 0)
    cull::mark_fewest_frames(record, options.cull.cover, options.cull.cover_share);
  if (extent >= Extent::mosaic) {
    const Timed timed(record, "mosaic");
    mosaic::TileCount tiles;
    const bool restored = remember_step(mosaic_step(options), record, context,
                                        [&] { tiles = mosaic::build(record, options.mosaic, context); });
    timed.from_cache(restored);
    if (!restored) timed.of_tiles(tiles);
  }
  if (options.levelled_copies) write_levelled_copies(record, options, context);
  if (!options.rectify.ground_file.empty())
    write_marked_ground(record, options.rectify, context);
  else if (options.rectified_copies)
    write_rectified_obliques(record, options.rectify, context);
  if (options.deglinted_copies) glare::write_deglinted(record, context.out / "deglinted", context);
  cull::export_kept(record, options.cull, context.out / "kept");
  if (extent >= Extent::report) {
    const Timed timed(record, "report");
    report::Options report = options.report;
    report.marks_file = options.place.marks_file;
    report::write(record, report, context);
  }
  write_tables(record, extent, context.out);
  return record;
}

void write_tables(const FlightRecord& record, Extent extent, const std::filesystem::path& out) {
  write_file(out / "frames.csv", frames_table(record));
  write_file(out / "flight.json", to_json(record).dump(1));
  if (extent >= Extent::place) write_file(out / "least_glare.csv", least_glare_table(record));
  if (extent >= Extent::place) write_file(out / "placement.json", placement_document(record).dump(1));
}

}  // namespace lookdown
