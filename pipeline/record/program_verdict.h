// What the program itself said of a frame that a person dropped.
#pragma once

#include "pipeline/record/flight_record.h"

namespace lookdown {

/// The verdict; of a frame that a person alone dropped the one that the program had given. What all frames
/// tell together goes by it, so that it need not be done again when a person drops one.
[[nodiscard]] Verdict verdict_but_for_drop_by_person(const Decision&);

}  // namespace lookdown
