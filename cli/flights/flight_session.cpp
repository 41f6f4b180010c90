#include "cli/flights/flight_session.h"

#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>
#include <set>
#include <thread>

#include "cli/flights/run_folder.h"
#include "cli/version.h"
#include "pipeline/base/files/atomic_file.h"
#include "pipeline/base/scheduler.h"
#include "pipeline/record/record_json.h"
#include "stages/report/report.h"
#include "stages/run/inputs/check_inputs.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

bool lies_below(const fs::path& path, const fs::path& folder) {
  const fs::path relative = real_path(path).lexically_relative(real_path(folder));
  return !relative.empty() && *relative.begin() != "..";
}

// A run into a folder below the flight must not take its own pictures for frames the next time.
std::vector<fs::path> input_files(const Invocation& invocation) {
  std::vector<fs::path> files;
  try {
    files = inspect::picture_files(invocation.inputs);
  } catch (const std::runtime_error& error) {
    throw WrongUse(error.what());
  }
  std::erase_if(files, [&](const fs::path& file) { return lies_below(file, invocation.out); });
  return files;
}

void check_everything_given(const Invocation& invocation, const FlightOptions& options,
                            const std::vector<fs::path>& files) {
  try {
    for (const std::string& note : check_inputs(options, files))
      if (!invocation.quiet) fmt::print(stderr, "Note: {}.\n", note);
  } catch (const InputMistake& mistake) {
    throw WrongUse(mistake.what());
  }
}

// The frames of the earlier run in this folder; empty when there is none that can be read.
std::set<std::string> earlier_frames(const fs::path& out) {
  std::ifstream stream(out / "flight.json");
  const nlohmann::json record = nlohmann::json::parse(stream, nullptr, false);
  std::set<std::string> paths;
  if (!record.is_object() || !record.contains("frames") || !record["frames"].is_array()) return paths;
  for (const auto& frame : record["frames"])
    if (frame.is_object() && frame.contains("source") && frame["source"].is_object())
      paths.insert(real_path(frame["source"].value("path", std::string())).string());
  return paths;
}

void say_what_is_replaced(const Invocation& invocation, const std::vector<fs::path>& files) {
  const std::set<std::string> earlier = earlier_frames(invocation.out);
  if (earlier.empty() || invocation.quiet) return;
  const bool same = std::any_of(files.begin(), files.end(), [&](const fs::path& file) {
    return earlier.contains(real_path(file).string());
  });
  if (!same)
    fmt::print(stderr, "Note: {} held the results of another flight ({}); they are replaced.\n",
               invocation.out, fs::path(*earlier.begin()).parent_path().string());
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& each : words) text += (text.empty() ? "" : ", ") + each;
  return text;
}

// What this run may have found finished in the folder instead of writing it again.
std::vector<std::string> known_files(const FlightRecord& record) {
  std::vector<std::string> known;
  if (record.mosaic) known.insert(known.end(), {"mosaic", "surface"});
  for (const FrameRecord& frame : record.frames) {
    if (!frame.glare) continue;
    for (const std::string& mask : {frame.glare->mask_file, frame.glare->water_mask_file})
      if (!mask.empty()) known.push_back(mask);
  }
  return known;
}

// A file that grew since the last look is still being copied.
using Sizes = std::map<fs::path, std::uintmax_t>;
Sizes sizes_of(const std::vector<fs::path>& files) {
  Sizes sizes;
  std::error_code error;
  for (const fs::path& file : files) sizes[file] = fs::file_size(file, error);
  return sizes;
}

void wait_a_moment() {
  constexpr auto kBetweenLooks = std::chrono::milliseconds(1000);
  for (const auto until = Clock::now() + kBetweenLooks; Clock::now() < until && !stop_requested();)
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
}

// Until files that were not among `done` have come and stopped growing; false when none does for `watch`, or
// the person has had enough.
bool more_has_come(const Invocation& invocation, const Watch& watch, const Sizes& done) {
  auto quiet_since = Clock::now();
  Sizes before = done;
  while (!stop_requested()) {
    wait_a_moment();
    const Sizes now = sizes_of(input_files(invocation));
    const bool still = now == before;
    if (still && now != done) return true;
    if (!still) quiet_since = Clock::now();
    before = now;
    if (std::chrono::duration<double>(Clock::now() - quiet_since).count() >= watch.quiet_s) return false;
  }
  return false;
}

}  // namespace

int run_session(const Invocation& invocation, const FlightOptions& options, const std::string& options_json,
                Extent extent, const std::function<void(FlightRecord&, RunContext&)>& after,
                const std::optional<Watch>& watch) {
  check_run_folder(invocation);
  std::vector<fs::path> files = input_files(invocation);
  if (watch && files.empty() && more_has_come(invocation, *watch, {})) files = input_files(invocation);
  if (files.empty()) {
    fmt::print(stderr,
               "{}: no pictures here (JPEG, PNG, TIFF, HEIF, AVIF, camera raw); name the folder that holds "
               "the frames\n",
               joined(invocation.inputs));
    return kNothingUsable;
  }
  check_everything_given(invocation, options, files);
  const RunFolder folder(invocation.out);
  remove_leftovers(invocation.out);
  say_what_is_replaced(invocation, files);
  const FrameReader reader;
  // Frames are what runs in parallel. A filter that cuts one picture into as many bands as there are threads
  // sums in another order, and what lies at a border of a decision would depend on how many there are.
  cv::setNumThreads(1);
  const Scheduler scheduler({invocation.threads, parse_memory(invocation.memory)});
  const Cache cache(invocation.no_cache ? fs::path() : fs::path(invocation.out) / ".cache");
  Progress progress(!invocation.quiet && !invocation.json && Progress::terminal());
  RunContext context{invocation.out, reader, scheduler, cache, progress};
  FlightRecord record;
  for (bool again = true; again;) {
    const Sizes read = sizes_of(files);
    record = run_flight(files, options, extent, {kVersion, invocation.command_line, options_json}, context);
    if (after) after(record, context);
    if (watch && !invocation.quiet)
      fmt::print(stderr, "{} frames read; waiting for more (Ctrl-C ends)\n", record.frames.size());
    again = watch && more_has_come(invocation, *watch, read);
    if (again) files = input_files(invocation);
  }
  const RunFolder::Files in_folder = folder.files(known_files(record));
  const report::RunWords run{invocation.command, invocation.out, in_folder.written, in_folder.left};
  if (invocation.json)
    fmt::print("{}\n", report::summary_json(record, run));
  else if (!invocation.quiet)
    fmt::print("{}", report::summary(record, run));
  const bool any = std::any_of(record.frames.begin(), record.frames.end(),
                               [](const FrameRecord& frame) { return !frame.fault; });
  std::fflush(stdout);  // into one log both go in the order that they were said
  if (!any)
    fmt::print(stderr, "None of the {} files could be used; the reasons are in {}.\n", files.size(),
               (fs::path(invocation.out) / "frames.csv").string());
  return any ? kDone : kNothingUsable;
}

}  // namespace lookdown::cli
