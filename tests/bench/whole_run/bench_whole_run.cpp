// Whole runs over the first N frames of a flight: time a frame, peak memory, ratio to the least work; what a
// second run does again; whether the bytes depend on the threads. bench_whole_run FLIGHT SCRATCH N [N...]
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>
#include <vector>

#include "least_work.h"
#include "measured_process.h"
#include "program_run.h"

namespace {

namespace fs = std::filesystem;
using lookdown::contents_of;
using lookdown::bench::Cost;
using lookdown::bench::cost_of;

std::vector<fs::path> frames_of(const fs::path& flight) {
  std::vector<fs::path> frames;
  for (const auto& entry : fs::directory_iterator(flight))
    if (entry.path().extension() == ".jpg") frames.push_back(entry.path());
  std::sort(frames.begin(), frames.end());
  return frames;
}

Cost run(const fs::path& card, const fs::path& out, int threads, const std::vector<std::string>& more = {}) {
  std::vector<std::string> words{
      LOOKDOWN_BINARY_DIR "/lookdown", "run", card, "-o", out, "--quiet", "--threads",
      std::to_string(threads)};
  words.insert(words.end(), more.begin(), more.end());
  return cost_of([&] {
    std::vector<char*> argv;
    for (std::string& word : words) argv.push_back(word.data());
    argv.push_back(nullptr);
    ::execv(argv[0], argv.data());
    return 127;
  });
}

void print(int count, const char* what, const Cost& cost, double floor_cpu_s) {
  fmt::print("{:>6}  {:<26} {:>8.1f} {:>8.1f} {:>9.3f} {:>8.0f} {:>8.2f}{}\n", count, what, cost.wall_s,
             cost.cpu_s, cost.cpu_s / count, cost.peak_mb, floor_cpu_s > 0 ? cost.cpu_s / floor_cpu_s : 1.0,
             cost.done ? "" : "  FAILED");
  std::fflush(stdout);
}

using Contents = std::map<std::string, std::string>;

// What differs from run to run by design: how long it took and how it was called.
bool same_but_for_timings(Contents a, Contents b) {
  for (const char* own : {"flight.json", "report.html"}) a.erase(own), b.erase(own);
  for (const auto& [file, bytes] : a)
    if (!b.contains(file) || b.at(file) != bytes) fmt::print("        differs: {}\n", file);
  return a == b;
}

void measure(const std::vector<fs::path>& frames, const fs::path& scratch) {
  const int count = static_cast<int>(frames.size());
  const fs::path card = scratch / "card", out = scratch / "out";
  fs::remove_all(scratch);
  fs::create_directories(card);
  for (const fs::path& frame : frames) fs::create_symlink(fs::absolute(frame), card / frame.filename());
  const Cost floor = cost_of([&] { return lookdown::bench::least_work(frames, 2); });
  print(count, "least work, 2 threads", floor, floor.cpu_s);
  print(count, "cold, 2 threads", run(card, out, 2), floor.cpu_s);
  const auto of_two_threads = contents_of(out);
  print(count, "nothing changed", run(card, out, 2), floor.cpu_s);
  print(count, "another option of the page", run(card, out, 2, {"--picture-px", "900"}), floor.cpu_s);
  const auto name = [&](std::size_t part) { return frames[frames.size() * part / 3].filename().string(); };
  std::ofstream(scratch / "choices.csv") << "file,verdict\n" << name(1) << ",drop\n" << name(2) << ",drop\n";
  print(count, "two changed verdicts", run(card, out, 2, {"--choices-file", scratch / "choices.csv"}),
        floor.cpu_s);
  for (const int threads : {1, 8}) {
    fs::remove_all(out);
    const std::string what = fmt::format("cold, {} thread{}", threads, threads == 1 ? "" : "s");
    print(count, what.c_str(), run(card, out, threads), floor.cpu_s);
    fmt::print("        {} threads and 2 leave {} bytes\n", threads,
               same_but_for_timings(contents_of(out), of_two_threads) ? "the same" : "OTHER");
  }
  fs::remove_all(scratch);
}

}  // namespace

int main(int count, char** words) {
  if (count < 4) return fmt::print(stderr, "usage: {} FLIGHT SCRATCH N [N...]\n", words[0]), 2;
  const std::vector<fs::path> frames = frames_of(words[1]);
  fmt::print("frames  what                         wall s    cpu s  cpu s/fr  peak MB  x least\n");
  for (int i = 3; i < count; ++i) {
    const auto wanted = std::min<std::size_t>(std::strtoul(words[i], nullptr, 10), frames.size());
    if (wanted > 0) measure({frames.begin(), frames.begin() + static_cast<std::ptrdiff_t>(wanted)}, words[2]);
  }
}
