// Whole runs over the first N frames of a flight: time a frame, peak memory, ratio to the least work, cold
// and warm cache, one changed choice, threads. bench_whole_run FLIGHT SCRATCH N [N...]
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "least_work.h"
#include "measured_process.h"

namespace {

namespace fs = std::filesystem;
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

void measure(const std::vector<fs::path>& frames, const fs::path& scratch) {
  const int count = static_cast<int>(frames.size());
  const fs::path card = scratch / "card", out = scratch / "out";
  fs::remove_all(scratch);
  fs::create_directories(card);
  for (const fs::path& frame : frames) fs::create_symlink(fs::absolute(frame), card / frame.filename());
  const Cost floor = cost_of([&] { return lookdown::bench::least_work(frames, 2); });
  print(count, "least work, 2 threads", floor, floor.cpu_s);
  print(count, "cold cache, 2 threads", run(card, out, 2), floor.cpu_s);
  print(count, "warm cache, 2 threads", run(card, out, 2), floor.cpu_s);
  std::ofstream(scratch / "choices.csv")
      << "file,verdict\n"
      << frames[static_cast<std::size_t>(count) / 2].filename().string() << ",drop\n";
  print(count, "one changed choice", run(card, out, 2, {"--choices", scratch / "choices.csv"}), floor.cpu_s);
  fs::remove_all(out);
  print(count, "cold cache, 1 thread", run(card, out, 1), floor.cpu_s);
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
