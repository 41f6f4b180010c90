// place_added FOLDER OUT [--first N] [--added K] [--threads T]: K frames (10) added to a flight of N - K that
// was placed before, against placing all N anew: time, memory, and whether both end with the same bytes.
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <string>

#include "bench_placement.h"

namespace {

using namespace lookdown;

std::string bytes_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) return 2;
  const std::filesystem::path folder = argv[1], out = argv[2], truth = folder / "truth.json";
  std::size_t first = 0, added = 10;
  int threads = 0;
  for (int i = 3; i + 1 < argc; i += 2) {
    const std::string flag = argv[i];
    if (flag == "--first") first = std::size_t(std::atoi(argv[i + 1]));
    if (flag == "--added") added = std::size_t(std::atoi(argv[i + 1]));
    if (flag == "--threads") threads = std::atoi(argv[i + 1]);
  }
  const auto all = bench::frames_of(folder, first);
  if (all.size() <= added) return 2;
  const std::vector<std::filesystem::path> before(all.begin(), all.end() - std::ptrdiff_t(added));
  std::filesystem::remove_all(out);
  const auto report = [&](const char* what, const std::vector<std::filesystem::path>& files,
                          const char* into) {
    const auto cost = bench::cost_of([&] { bench::place_frames(files, truth, out / into, {}, threads); });
    std::printf("%-28s %4zu frames %8.1f s wall %8.1f s cpu %6.0f MB\n", what, files.size(), cost.wall_s,
                cost.cpu_s, cost.peak_mb);
    std::fflush(stdout);
    return cost.cpu_s;
  };
  report("before", before, "grown");
  const double warm_s = report("with frames added", all, "grown");
  const double cold_s = report("all of them anew", all, "fresh");
  const bool same = bytes_of(out / "grown" / "placement.json") == bytes_of(out / "fresh" / "placement.json");
  std::printf("added: %.2f of the time; placements %s\n", warm_s / cold_s,
              same ? "are the same bytes" : "DIFFER");
  return same ? 0 : 1;
}
