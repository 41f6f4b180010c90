#include "placed_flight.h"

#include <nlohmann/json.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/record/record_json.h"
#include "pipeline/record/run_context.h"
#include "stages/inspect/inspect.h"

namespace lookdown {

FlightRecord place_folder(const std::filesystem::path& folder, const std::filesystem::path& out,
                          const place::Options& options) {
  const FrameReader reader;
  const Scheduler scheduler(Resources{0, 2'000'000'000});
  const Cache cache(out / ".cache");
  Progress progress(false);
  RunContext context{out, reader, scheduler, cache, progress};
  FlightRecord flight = inspect::inspect(inspect::picture_files({folder.string()}), {}, context);
  for (FrameRecord& f : flight.frames) {
    f.decision.view = View::nadir;
    f.decision.verdict = Verdict::keep;
  }
  place::place(flight, options, context);
  write_file(out / "placement.json", placement_document(flight).dump(1));
  return flight;
}

const FrameRecord& frame_named(const FlightRecord& flight, const std::string& file) {
  for (const FrameRecord& f : flight.frames)
    if (std::filesystem::path(f.source.file).filename() == file) return f;
  throw std::out_of_range(file);
}

SmallFlight::SmallFlight() {
  flight.width_px = 640;
  flight.height_px = 480;
  flight.focal_px = 560;
  flight.columns = 3;
  flight.rows = 3;
  flight.overlap = 0.5;
}

void SmallFlight::take_into(const std::filesystem::path& folder, const std::string& prefix) const {
  painted::SiteChoice choice = site;
  const cv::Size2d extent = painted::covered(flight);
  choice.width = extent.width;
  choice.height = extent.height;
  painted::take_all(painted::paint_site(choice), painted::camera_of(flight), painted::fly(flight, prefix),
                    folder);
}

}  // namespace lookdown
