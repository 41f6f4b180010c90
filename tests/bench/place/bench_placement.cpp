#include "bench_placement.h"

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/record/record_json.h"
#include "pipeline/record/run_context.h"
#include "stages/inspect/inspect.h"

namespace lookdown::bench {
namespace {

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
      f.decision.reasons.push_back({"blurred", {}, {}, "", Verdict::drop});
    }
  }
}

}  // namespace

std::vector<std::filesystem::path> frames_of(const std::filesystem::path& folder, std::size_t first,
                                             std::size_t every) {
  std::vector<std::filesystem::path> chosen;
  std::size_t at = 0;
  for (const auto& file : inspect::picture_files({folder.string()})) {
    if (file.string().find("truth") != std::string::npos || at++ % every != 0) continue;
    if (first == 0 || chosen.size() < first) chosen.push_back(file);
  }
  return chosen;
}

FlightRecord place_frames(const std::vector<std::filesystem::path>& files,
                          const std::filesystem::path& truth_json, const std::filesystem::path& out,
                          const place::Options& options, int threads) {
  const FrameReader reader;
  const Scheduler scheduler(Resources{threads, 1'200'000'000});
  const Cache cache(out / ".cache");
  Progress progress(false);
  RunContext context{out, reader, scheduler, cache, progress};
  FlightRecord flight = inspect::inspect(files, {}, context);
  take_views(flight, truth_json);
  place::place(flight, options, context);
  write_file(out / "placement.json", placement_document(flight).dump(1));
  return flight;
}

Cost cost_of(const std::function<void()>& work) {
  std::fflush(nullptr);
  const auto start = std::chrono::steady_clock::now();
  const pid_t child = fork();
  if (child == 0) {
    int code = 0;
    try {
      work();
    } catch (const std::exception& e) {
      std::fprintf(stderr, "%s\n", e.what());
      code = 1;
    }
    std::fflush(nullptr);
    _exit(code);
  }
  int status = 0;
  rusage used{};
  wait4(child, &status, 0, &used);
  Cost cost;
  cost.ended_well = WIFEXITED(status) && WEXITSTATUS(status) == 0;
  cost.wall_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  const auto seconds = [](const timeval& t) { return double(t.tv_sec) + 1e-6 * double(t.tv_usec); };
  cost.cpu_s = seconds(used.ru_utime) + seconds(used.ru_stime);
  cost.peak_mb = double(used.ru_maxrss) / 1024;
  return cost;
}

}  // namespace lookdown::bench
