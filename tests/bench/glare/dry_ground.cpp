// dry_ground FLIGHT... --out FOLDER: how much of flights over ground without any water is called water, in
// one frame and across frames, after placing them. Mean share of the frames, in percent; of a flight with
// ponds it is what is called water, rightly or not.
#include <fmt/format.h>

#include <cstdio>
#include <ctime>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "bench_placement.h"
#include "pipeline/base/files/atomic_file.h"
#include "stages/glare/glare.h"

namespace {

using namespace lookdown;

void find_in_each(FlightRecord& flight, RunContext& context) {
  std::filesystem::create_directories(context.out / "masks");
  for (FrameRecord& frame : flight.frames) {
    FramePixels pixels(context.reader, frame.source, RawPixels::quick);
    const auto found = glare::find(pixels, frame.info, {}, {});
    if (!found) continue;
    frame.glare = found->glare;
    const auto write = [&](const cv::Mat& mask, const char* ending) -> std::string {
      if (mask.empty()) return "";
      const std::string name = "masks/" + frame.source.stem + ending;
      write_file(context.out / name, glare::mask_png(mask));
      return name;
    };
    frame.glare->mask_file = write(*found->glare_mask, "_glare.png");
    frame.glare->water_mask_file = write(*found->water_mask, "_water.png");
  }
}

double mean_water_share(const FlightRecord& flight, bool placed) {
  double sum = 0;
  int frames = 0;
  for (const FrameRecord& frame : flight.frames)
    if (frame.glare && frame.placement.placed == placed) sum += frame.glare->water_share, ++frames;
  return sum / std::max(1, frames);
}

double processor_s() {
  return static_cast<double>(std::clock()) / CLOCKS_PER_SEC;
}

void score(const std::filesystem::path& folder, const std::filesystem::path& out) {
  const FrameReader reader;
  const Scheduler scheduler(Resources{1, 1'200'000'000});
  const Cache cache(out / ".cache");
  Progress progress(false);
  RunContext context{out, reader, scheduler, cache, progress};
  FlightRecord flight =
      bench::place_frames(bench::frames_of(folder), folder / "truth.json", out, place::Options{}, 1);
  find_in_each(flight, context);
  const double alone = mean_water_share(flight, true), started = processor_s();
  glare::refine_across_frames(flight, {}, context);
  const double across_ms =
      1000 * (processor_s() - started) / std::max<double>(1, static_cast<double>(flight.frames.size()));
  double most = 0;
  int placed = 0;
  for (const FrameRecord& frame : flight.frames)
    if (frame.placement.placed && frame.glare) most = std::max(most, frame.glare->water_share), ++placed;
  fmt::print(
      "{:<14} {:>2} of {:>2} placed, heights' spread {:.3g}: water in one frame {:.2f} %, across frames "
      "{:.2f} "
      "%, most in a frame {:.1f} %; {:.0f} ms a frame across\n",
      folder.filename().string(), placed, flight.frames.size(), flight.placement.relief_spread, 100 * alone,
      100 * mean_water_share(flight, true), 100 * most, across_ms);
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  std::vector<std::filesystem::path> flights;
  std::filesystem::path out;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--out" && i + 1 < argc)
      out = argv[++i];
    else
      flights.emplace_back(word);
  }
  if (flights.empty() || out.empty()) {
    fmt::print(stderr, "dry_ground FLIGHT... --out FOLDER\n");
    return 2;
  }
  for (const auto& flight : flights) score(flight, out / flight.filename());
}
