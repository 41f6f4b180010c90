// inspect: what each file says about itself. Common rules: a file is opened read-only; one bad file becomes a
// FrameRecord with `fault` and the verdict drop, the flight goes on; absurd Exif values (focal length 0, year
// 0, position 0,0) count as not known.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::inspect {

struct Options {
  std::string camera_file;           ///< OpenCV calibration file (YAML or XML); empty: none
  std::optional<double> focal_px;    ///< overrides every source
  std::optional<double> focal_35mm;  ///< 35 mm equivalent, overrides Exif
  std::string twin =
      "raw";  ///< which file is the frame of a shot saved as camera raw and as JPEG: "raw" or "jpeg"
};
void describe(Options&, OptionVisitor&);

/// Reads the calibration file, if one is named. Throws std::runtime_error as inspect does for it.
void check(const Options&);

/// Files of the inputs (folders are searched recursively, but for what an earlier run left in them; globs
/// expanded, links followed once) whose ending names a picture, sorted. Throws std::runtime_error naming the
/// input when it does not exist.
std::vector<std::filesystem::path> picture_files(const std::vector<std::string>& inputs);

/// Reads header, hash and Exif of every file, leaves out folders that are plainly no part of the flight
/// (other_folders.h), chooses a camera for each, makes one frame of a shot that was
/// saved as camera raw and as JPEG (same folder, same name but for the ending, same time), orders frames by
/// time then name.
FlightRecord inspect(const std::vector<std::filesystem::path>& files, const Options&, RunContext&);

}  // namespace lookdown::inspect
