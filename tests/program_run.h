// Runs the program as a person would and keeps what it said.
#pragma once

#include <filesystem>
#include <map>
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

/// Runs `lookdown` with the arguments; nothing of the arguments is seen by a shell.
ProgramRun run_lookdown(const std::vector<std::string>& arguments, RunAs run_as = RunAs::caller);

/// Rows of a frames.csv by file name, each row by column name.
std::map<std::string, std::map<std::string, std::string>> read_frames_table(const std::filesystem::path& file);

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
