// What the command `lookdown cull`, as it is by default, takes against a plain full-resolution grey decode of
// the same files on as many threads.
//   cull_speed [--threads N] [--repeats N] [--counts N,N,...] JPEG...
// Both run as processes of their own, in turn, so that nothing is left out: start, hashing, Exif, verdicts,
// tables. The cache is off. With --counts the command runs over so many links to the files, for the growth of
// memory. Prints wall time, processor time, peak memory and the ratios.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <atomic>
#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <opencv2/core.hpp>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include "../whole_run/measured_process.h"
#include "pipeline/imaging/frame_reader.h"

namespace {

namespace fs = std::filesystem;
using lookdown::bench::Cost;
using lookdown::bench::cost_of;

Cost decode(const std::vector<fs::path>& files, int threads) {
  return cost_of([&] {
    cv::setNumThreads(1);
    const lookdown::FrameReader reader;
    std::atomic<std::size_t> next = 0;
    std::vector<std::thread> workers;
    for (int t = 0; t < threads; ++t)
      workers.emplace_back([&] {
        for (std::size_t i = next++; i < files.size(); i = next++) (void)reader.grey(files[i]);
      });
    for (std::thread& worker : workers) worker.join();
    return 0;
  });
}

Cost cull(const std::vector<fs::path>& files, int threads, const fs::path& out) {
  std::vector<std::string> words{LOOKDOWN_PROGRAM, "cull",    "-o",        out,
                                 "--no-cache",     "--quiet", "--threads", std::to_string(threads)};
  words.insert(words.end(), files.begin(), files.end());
  fs::remove_all(out);
  return cost_of([&] {
    std::vector<char*> arguments;
    for (std::string& word : words) arguments.push_back(word.data());
    arguments.push_back(nullptr);
    ::execv(arguments[0], arguments.data());
    return 127;
  });
}

/// `count` links to the files, with names of their own.
std::vector<fs::path> links(const std::vector<fs::path>& files, int count, const fs::path& folder) {
  fs::create_directories(folder);
  std::vector<fs::path> made;
  for (int i = 0; i < count; ++i) {
    made.push_back(folder / fmt::format("F{:04}.jpg", i));
    fs::create_symlink(fs::absolute(files[static_cast<std::size_t>(i) % files.size()]), made.back());
  }
  return made;
}

void print(const char* what, std::size_t files, const Cost& cost) {
  fmt::print("{:12} {:4} files  wall {:7.2f} s  processor {:7.2f} s, {:6.1f} ms a file  peak {:5.0f} MB{}\n",
             what, files, cost.wall_s, cost.cpu_s, 1e3 * cost.cpu_s / static_cast<double>(files),
             cost.peak_mb, cost.done ? "" : "  FAILED");
}

}  // namespace

int main(int argc, char** argv) {
  std::vector<fs::path> files;
  std::vector<int> counts;
  int threads = 1, repeats = 1;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--threads" && i + 1 < argc)
      threads = std::max(1, std::atoi(argv[++i]));
    else if (word == "--repeats" && i + 1 < argc)
      repeats = std::max(1, std::atoi(argv[++i]));
    else if (word == "--counts" && i + 1 < argc) {
      std::istringstream list(argv[++i]);
      for (std::string number; std::getline(list, number, ',');)
        counts.push_back(std::max(1, std::atoi(number.c_str())));
    } else
      files.emplace_back(word);
  }
  if (files.empty()) {
    std::cerr << "cull_speed [--threads N] [--repeats N] [--counts N,N,...] JPEG...\n";
    return 2;
  }
  const fs::path scratch = fs::temp_directory_path() / fmt::format("cull_speed_{}", ::getpid());
  Cost all_decode, all_cull;
  bool done = true;
  for (int repeat = 0; repeat < repeats; ++repeat) {
    const Cost plain = decode(files, threads), culled = cull(files, threads, scratch / "out");
    done = done && plain.done && culled.done;
    all_decode.wall_s += plain.wall_s, all_decode.cpu_s += plain.cpu_s, all_cull.wall_s += culled.wall_s,
        all_cull.cpu_s += culled.cpu_s;
    all_decode.peak_mb = std::max(all_decode.peak_mb, plain.peak_mb),
    all_cull.peak_mb = std::max(all_cull.peak_mb, culled.peak_mb);
  }
  all_decode.done = all_cull.done = done;
  print("grey decode", files.size() * static_cast<std::size_t>(repeats), all_decode);
  print("cull", files.size() * static_cast<std::size_t>(repeats), all_cull);
  fmt::print("ratio of processor time {:.3f}, of wall time {:.3f}\n", all_cull.cpu_s / all_decode.cpu_s,
             all_cull.wall_s / all_decode.wall_s);
  for (const int count : counts) {
    const auto linked = links(files, count, scratch / fmt::format("links_{}", count));
    print("cull", linked.size(), cull(linked, threads, scratch / "out"));
  }
  fs::remove_all(scratch);
  return done ? 0 : 1;
}
