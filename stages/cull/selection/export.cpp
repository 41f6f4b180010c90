#include "stages/cull/selection/export.h"

#include <algorithm>
#include <fstream>
#include <iterator>
#include <system_error>

#include "stages/cull/selection/set_cover.h"

namespace lookdown::cull {
namespace {

namespace fs = std::filesystem;

bool same_bytes(const fs::path& a, const fs::path& b) {
  std::error_code error;
  if (fs::equivalent(a, b, error)) return true;
  if (fs::file_size(a, error) != fs::file_size(b, error) || error) return false;
  std::ifstream first(a, std::ios::binary), second(b, std::ios::binary);
  return std::equal(std::istreambuf_iterator<char>(first), {}, std::istreambuf_iterator<char>(second));
}

std::error_code put(const fs::path& original, const fs::path& target, const std::string& how) {
  std::error_code error;
  if (how == "hardlink")
    fs::create_hard_link(original, target, error);
  else if (how == "symlink")
    fs::create_symlink(fs::absolute(original), target, error);
  else
    fs::copy_file(original, target, fs::copy_options::none, error);
  return error;
}

bool wanted(const FrameRecord& frame) {
  return !frame.fault && frame.decision.verdict == Verdict::keep && !covered_by_others(frame.decision);
}

}  // namespace

void export_kept(FlightRecord& flight, const Options& options, const fs::path& folder) {
  if (options.collect == "none") return;
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) {
    flight.warnings.push_back(folder.string() + " cannot be made (" + error.message() +
                              "); no frame was collected.");
    return;
  }
  for (const FrameRecord& frame : flight.frames) {
    if (!wanted(frame)) continue;
    const fs::path target = folder / (frame.source.stem + frame.source.path.extension().string());
    if (fs::exists(fs::symlink_status(target, error))) {
      if (!same_bytes(frame.source.path, target))
        flight.warnings.push_back(target.string() + " holds something else; " + frame.source.file +
                                  " was not collected.");
      continue;
    }
    if (const auto failed = put(frame.source.path, target, options.collect))
      flight.warnings.push_back(target.string() + ": " + options.collect + " failed (" + failed.message() +
                                ").");
  }
}

}  // namespace lookdown::cull
