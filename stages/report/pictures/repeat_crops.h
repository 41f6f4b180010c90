// Near-repeats at the same spot of the ground, in full-size pixels, to be compared by eye.
#pragma once

#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/report/report.h"

namespace lookdown::report {

/// The same spot as one frame shows it.
struct RepeatCrop {
  int frame = 0;           ///< index in the record
  std::string jpeg;        ///< as displayed; empty where the frame could not be read
  std::string aligned_by;  ///< "itself", "placement", "features"; "nothing": same place in the frame, may
                           ///< show other ground
};

/// First the best frame, then at most two of those that repeat it.
using RepeatGroup = std::vector<RepeatCrop>;

/// One group for each frame that others repeat, in the order of the record.
[[nodiscard]] std::vector<RepeatGroup> repeat_crops(const FlightRecord&, const Options&, RunContext&);

}  // namespace lookdown::report
