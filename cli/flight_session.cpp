#include "cli/flight_session.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>

#include "cli/version.h"
#include "pipeline/base/atomic_file.h"
#include "stages/report/words/summary.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;

// One run at a time may write into an output folder; the lock goes with the process, however it ends.
class FolderLock {
 public:
  explicit FolderLock(const fs::path& folder) {
    std::error_code error;
    fs::create_directories(folder, error);
    if (error)
      throw WriteError(folder.string() + ": the output folder cannot be made: " + error.message() +
                       "; choose another with -o");
    const fs::path file = folder / ".lock";
    descriptor_ = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
    if (descriptor_ < 0)
      throw WriteError(folder.string() + ": the output folder may not be written to: " +
                       std::strerror(errno) + "; choose another with -o");
    if (::flock(descriptor_, LOCK_EX | LOCK_NB) != 0) {
      ::close(descriptor_);
      throw WriteError(
          folder.string() +
          ": another run is writing into this folder; wait for it to end or choose another with -o");
    }
  }
  ~FolderLock() { ::close(descriptor_); }
  FolderLock(const FolderLock&) = delete;
  FolderLock& operator=(const FolderLock&) = delete;

 private:
  int descriptor_ = -1;
};

// As named where links lead in a circle: the reader says what is wrong with such a file.
fs::path real_path(const fs::path& path) {
  std::error_code error;
  const fs::path real = fs::weakly_canonical(path, error);
  return error ? path.lexically_normal() : real;
}

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

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& each : words) text += (text.empty() ? "" : ", ") + each;
  return text;
}

}  // namespace

int run_session(const Invocation& invocation, const FlightOptions& options, const std::string& options_json,
                Extent extent, const std::function<void(FlightRecord&, RunContext&)>& after) {
  const std::vector<fs::path> files = input_files(invocation);
  if (files.empty()) {
    fmt::print(stderr,
               "{}: no pictures here (JPEG, PNG, TIFF, HEIF, AVIF, camera raw); name the folder that holds "
               "the frames\n",
               joined(invocation.inputs));
    return kNothingUsable;
  }
  const FolderLock lock(invocation.out);
  remove_leftovers(invocation.out);
  const FrameReader reader;
  const Scheduler scheduler({invocation.threads, parse_memory(invocation.memory)});
  const Cache cache(invocation.no_cache ? fs::path() : fs::path(invocation.out) / ".cache");
  Progress progress(!invocation.quiet && !invocation.json && Progress::terminal());
  RunContext context{invocation.out, reader, scheduler, cache, progress};
  FlightRecord record =
      run_flight(files, options, extent, {kVersion, invocation.command_line, options_json}, context);
  if (after) after(record, context);
  if (invocation.json)
    fmt::print("{}\n", report::summary_json(record, invocation.out));
  else if (!invocation.quiet)
    fmt::print("{}", report::summary(record, invocation.out));
  const bool any = std::any_of(record.frames.begin(), record.frames.end(),
                               [](const FrameRecord& frame) { return !frame.fault; });
  std::fflush(stdout);  // into one log both go in the order that they were said
  if (!any)
    fmt::print(stderr, "None of the {} files could be used; the reasons are in {}.\n", files.size(),
               (fs::path(invocation.out) / "frames.csv").string());
  return any ? kDone : kNothingUsable;
}

}  // namespace lookdown::cli
