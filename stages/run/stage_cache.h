// A step over the whole flight is not done again when nothing that it sees has changed: the record before it,
// the masks, its options and the tables it reads. What it made is taken from the cache, or found where it was
// left.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_json.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown {

/// What a step depends on besides the record and the masks, and what it leaves behind besides the record.
struct Step {
  std::string name_and_version;  ///< "place/3": bump the version when the step changes its answers
  Describe options;              ///< the options that change its answers
  std::vector<std::filesystem::path>
      tables;                   ///< files it reads by name, such as control points; empty names are skipped
  bool rewrites_masks = false;  ///< masks are kept in the cache and put back
  std::string
      output_prefix;  ///< files in OUT whose names begin so are the step's own: what work does not make anew
                      ///< is removed after it, and what it made must still be there unchanged; empty: none
};

/// Runs `work` on the record, or restores what it made the last time. Returns true when it was restored.
bool remember_step(const Step&, FlightRecord&, RunContext&, const std::function<void()>& work);

}  // namespace lookdown
