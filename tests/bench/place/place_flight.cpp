// place_flight FOLDER OUT [--control C.csv --marks M.csv --check NAME,NAME] [--first N] [--threads T]
// [--plain] Runs inspect and place alone and writes OUT/placement.json: a quick look without the other
// stages. With a truth.json in FOLDER the views (horizon, launch) that other stages would find are taken from
// it; --plain leaves that out.
#include <cstdio>
#include <cstdlib>
#include <sstream>

#include "bench_placement.h"

namespace {

std::vector<std::string> split(const std::string& text) {
  std::vector<std::string> parts;
  std::istringstream in(text);
  for (std::string part; std::getline(in, part, ',');) parts.push_back(part);
  return parts;
}

}  // namespace

int main(int argc, char** argv) {
  using namespace lookdown;
  if (argc < 3) return 2;
  const std::filesystem::path folder = argv[1], out = argv[2];
  place::Options options;
  std::size_t first = 0;
  int threads = 0;
  bool plain = false;
  for (int i = 3; i < argc; ++i) {
    const std::string flag = argv[i];
    if (flag == "--control") options.control_file = argv[++i];
    if (flag == "--marks") options.marks_file = argv[++i];
    if (flag == "--check") options.check = split(argv[++i]);
    if (flag == "--first") first = std::size_t(std::atoi(argv[++i]));
    if (flag == "--threads") threads = std::atoi(argv[++i]);
    if (flag == "--plain") plain = true;
  }
  const bench::Cost cost = bench::cost_of([&] {
    const FlightRecord flight = bench::place_frames(
        bench::frames_of(folder, first), plain ? "" : folder / "truth.json", out, options, threads);
    std::printf("%zu frames  %d groups  canvas %d x %d  tie rmse %.3f px\n%s\n", flight.frames.size(),
                flight.placement.groups, flight.placement.mosaic_width_px, flight.placement.mosaic_height_px,
                flight.placement.accuracy.tie_point_rmse_px, flight.placement.accuracy.sentence.c_str());
    for (const std::string& w : flight.warnings) std::printf("warning: %s\n", w.c_str());
  });
  std::printf("wall %.1f s  cpu %.1f s  peak %.0f MB\n", cost.wall_s, cost.cpu_s, cost.peak_mb);
  return cost.ended_well ? 0 : 1;
}
