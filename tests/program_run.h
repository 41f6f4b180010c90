// Runs the program as a person would and keeps what it said.
#pragma once

#include <chrono>
#include <csignal>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace lookdown {

struct ProgramRun {
  int exit_code = -1;  ///< 128 + signal when it was killed by one
  std::string output;  ///< standard output
  std::string errors;  ///< standard error
};

/// Whose rights the program has; a superuser's tests of permissions need an ordinary user to mean something.
enum class RunAs { caller, ordinary_user };

/// Around a run: what befalls it, and what it is started by.
struct RunConditions {
  RunAs run_as = RunAs::caller;
  std::optional<std::chrono::milliseconds> killed_after;
  int killed_by = SIGKILL;                        ///< the signal sent; SIGKILL cannot be answered
  std::optional<std::size_t> largest_file_bytes;  ///< writing beyond fails, as on a full disk
  std::vector<std::string> started_by;            ///< a command and its arguments put before the program
};

/// Runs `lookdown` with the arguments; nothing of the arguments is seen by a shell.
ProgramRun run_lookdown(const std::vector<std::string>& arguments, const RunConditions& conditions);
ProgramRun run_lookdown(const std::vector<std::string>& arguments, RunAs run_as = RunAs::caller);

/// Every byte of a file; empty when it cannot be read.
std::string bytes_of(const std::filesystem::path& file);

/// Bytes of every file below `folder` by relative name, without the cache and the lock.
std::map<std::string, std::string> contents_of(const std::filesystem::path& folder);

/// Rows of a frames.csv by file name, each row by column name.
std::map<std::string, std::map<std::string, std::string>> read_frames_table(
    const std::filesystem::path& file);

/// A folder below the system's temporary folder that goes away with the object.
class TemporaryFolder {
 public:
  TemporaryFolder();
  ~TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

}  // namespace lookdown
