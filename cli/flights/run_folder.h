// The output folder of a run: one run at a time, nobody else's files replaced, and what this run wrote told
// from what an earlier one left.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "cli/commands/command.h"

namespace lookdown::cli {

/// Links are followed; a name that cannot be resolved, as of links that lead in a circle, stays as it is. No
/// slash at its end.
[[nodiscard]] std::filesystem::path real_path(const std::filesystem::path&);

/// Throws WrongUse when the output folder is the folder of the frames, or holds files with names of results
/// that this program did not write (unless `overwrite`).
void check_run_folder(const Invocation&);

class RunFolder {
 public:
  /// Makes the folder, takes its lock and remembers what stands in it. Throws WriteError.
  explicit RunFolder(const std::filesystem::path& folder);
  ~RunFolder();
  RunFolder(const RunFolder&) = delete;
  RunFolder& operator=(const RunFolder&) = delete;

  /// Files by name below the folder, sorted, hidden ones left out.
  struct Files {
    std::vector<std::string> written;  ///< since the folder was opened, or named in `known`
    std::vector<std::string> left;     ///< from before
  };
  /// `known`: beginnings of names that belong to this run although they may have been found finished.
  [[nodiscard]] Files files(const std::vector<std::string>& known) const;

 private:
  struct State {
    std::filesystem::file_time_type changed;
    std::uintmax_t bytes = 0;
    std::uint64_t node = 0;
    bool operator==(const State&) const = default;
  };
  [[nodiscard]] std::map<std::string, State> look() const;

  std::filesystem::path folder_;
  int descriptor_ = -1;
  std::map<std::string, State> before_;
};

/// A text file of results that may be replaced: it is not there, or it begins as this program begins it.
/// Throws WrongUse otherwise, unless `overwrite`.
void refuse_foreign_file(const std::filesystem::path& file, const std::string& begins, bool overwrite);

}  // namespace lookdown::cli
