#include "stages/inspect/other_folders.h"

#include <fmt/core.h>

#include <algorithm>
#include <filesystem>
#include <map>

namespace lookdown::inspect {
namespace {

namespace fs = std::filesystem;

struct Folder {
  int files = 0, readable = 0, of_a_camera = 0;
};

bool of_a_camera(const FrameInfo& info) {
  return info.taken_at || !info.make.empty() || !info.model.empty() || info.exposure_s ||
         info.focal_length_mm;
}

fs::path folder_of(const FrameRecord& frame) {
  return frame.source.path.parent_path();
}

bool lies_below_frames(fs::path folder, const std::map<fs::path, Folder>& folders) {
  while (folder.has_relative_path()) {
    folder = folder.parent_path();
    const auto above = folders.find(folder);
    if (above != folders.end() && above->second.of_a_camera > 0) return true;
  }
  return false;
}

std::string count_of_pictures(int count) {
  return count == 1 ? "1 picture" : fmt::format("{} pictures", count);
}

}  // namespace

void leave_out_other_folders(FlightRecord& record) {
  std::map<fs::path, Folder> folders;
  for (const FrameRecord& frame : record.frames) {
    Folder& folder = folders[folder_of(frame)];
    ++folder.files;
    folder.readable += !frame.fault;
    folder.of_a_camera += !frame.fault && of_a_camera(frame.info);
  }
  std::map<fs::path, std::string> others;
  for (const FrameRecord& frame : record.frames) {
    const fs::path folder = folder_of(frame);
    const Folder& held = folders.at(folder);
    if (held.readable > 0 && held.of_a_camera == 0 && lies_below_frames(folder, folders))
      others[folder] = fs::path(frame.source.file).parent_path().generic_string();
  }
  for (const auto& [folder, name] : others)
    record.warnings.push_back(fmt::format(
        "{}/ was left out ({}): nothing in it tells camera or time, as the frames above it do; move "
        "its pictures up to the frames if they are of this flight.",
        name, count_of_pictures(folders.at(folder).files)));
  std::erase_if(record.frames, [&](const FrameRecord& frame) { return others.contains(folder_of(frame)); });
}

}  // namespace lookdown::inspect
