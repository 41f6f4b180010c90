#include <glob.h>

#include <algorithm>
#include <set>
#include <stdexcept>

#include "pipeline/imaging/frame_reader.h"
#include "pipeline/record/record_json.h"
#include "stages/inspect/inspect.h"

namespace lookdown::inspect {
namespace {

namespace fs = std::filesystem;

std::vector<fs::path> expand(const std::string& input) {
  if (fs::exists(fs::symlink_status(input))) return {input};
  glob_t matches{};
  std::vector<fs::path> found;
  if (::glob(input.c_str(), 0, nullptr, &matches) == 0)
    found.assign(matches.gl_pathv, matches.gl_pathv + matches.gl_pathc);
  ::globfree(&matches);
  if (found.empty()) throw std::runtime_error(input + ": no such file or folder; check the name");
  return found;
}

// Hidden files are leftovers of other programs ("._IMG_1.jpg" beside every frame of some cards).
bool hidden(const fs::path& path) {
  return path.filename().string().starts_with('.');
}

// Every folder is visited once by its real path, so that links cannot send the search in circles.
void collect(const fs::path& folder, std::set<fs::path>& visited, std::vector<fs::path>& files) {
  std::error_code error;
  if (!visited.insert(fs::canonical(folder, error)).second || error) return;
  for (auto entry = fs::directory_iterator(folder, fs::directory_options::skip_permission_denied, error);
       !error && entry != fs::directory_iterator(); entry.increment(error)) {
    std::error_code unreadable;
    if (hidden(entry->path())) continue;
    if (entry->is_directory(unreadable)) {
      if (!holds_a_run(entry->path())) collect(entry->path(), visited, files);
    } else if (has_picture_ending(entry->path()))
      files.push_back(entry->path());
  }
}

}  // namespace

std::vector<fs::path> picture_files(const std::vector<std::string>& inputs) {
  std::vector<fs::path> files;
  std::set<fs::path> visited;
  for (const std::string& input : inputs)
    for (const fs::path& path : expand(input)) {
      std::error_code error;
      if (fs::is_directory(path, error))
        collect(path, visited, files);
      else
        files.push_back(path);  // named by the person: read it whatever its ending
    }
  std::sort(files.begin(), files.end());
  files.erase(std::unique(files.begin(), files.end()), files.end());
  return files;
}

}  // namespace lookdown::inspect
