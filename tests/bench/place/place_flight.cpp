// place_flight FOLDER OUT [--control C.csv --marks M.csv --check NAME,NAME] [--first N] [--threads T] [--plain]
// Runs inspect and place alone and writes OUT/placement.json: a quick look without the other stages. With a truth.json in FOLDER the views
// (horizon, launch) that other stages would find are taken from it; --plain leaves that out.
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "pipeline/atomic_file.h"
#include "pipeline/record_json.h"
#include "pipeline/run_context.h"
#include "stages/inspect/inspect.h"
#include "stages/place/place.h"

namespace {

using namespace lookdown;

void take_views(FlightRecord& flight, const std::filesystem::path& truth_file) {
  std::ifstream in(truth_file);
  if (!in) return;
  const auto truth = nlohmann::json::parse(in);
  std::map<std::string, const nlohmann::json*> by_file;
  for (const auto& f : truth.at("frames")) by_file[f.at("file")] = &f;
  for (FrameRecord& f : flight.frames) {
    const auto found = by_file.find(f.source.file);
    if (found == by_file.end()) continue;
    const std::string kind = (*found->second).at("kind");
    f.decision.view = kind == "horizon" ? View::horizon : kind == "oblique" ? View::oblique : View::nadir;
    f.decision.verdict = Verdict::keep;
    if (!(*found->second).at("sharp").get<bool>()) {
      f.decision.verdict = Verdict::drop;
      f.decision.reasons.push_back({"blurred", {}, {}, ""});
    }
  }
}

std::vector<std::string> split(const std::string& text) {
  std::vector<std::string> parts;
  std::istringstream in(text);
  for (std::string part; std::getline(in, part, ',');) parts.push_back(part);
  return parts;
}

}  // namespace

int main(int argc, char** argv) {
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
  FrameReader reader;
  Scheduler scheduler(Resources{threads, 2'000'000'000});
  Cache cache(out / ".cache");
  Progress progress(false);
  RunContext context{out, reader, scheduler, cache, progress};
  auto files = inspect::picture_files({folder.string()});
  std::erase_if(files, [](const auto& p) { return p.string().find("truth") != std::string::npos; });
  if (first > 0 && files.size() > first) files.resize(first);
  FlightRecord flight = inspect::inspect(files, {}, context);
  if (!plain) take_views(flight, folder / "truth.json");
  const auto start = std::chrono::steady_clock::now();
  place::place(flight, options, context);
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  write_file(out / "placement.json", placement_document(flight).dump(1));
  std::printf("place %.2f s  %zu frames  %d groups  canvas %d x %d  tie rmse %.3f px\n%s\n", seconds, flight.frames.size(),
              flight.placement.groups, flight.placement.mosaic_width_px, flight.placement.mosaic_height_px,
              flight.placement.accuracy.tie_point_rmse_px, flight.placement.accuracy.sentence.c_str());
  for (const std::string& w : flight.warnings) std::printf("warning: %s\n", w.c_str());
}
