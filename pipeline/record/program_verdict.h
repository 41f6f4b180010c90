// What the program itself said of a frame that a person dropped.
#pragma once

#include "pipeline/record/flight_record.h"

namespace lookdown {

/// The decision; of a frame that a person dropped the one that the program had made. What all frames tell
/// together goes by it, so that it need not be done again when a person drops one.
[[nodiscard]] Decision decision_but_for_drop_by_person(const Decision&);

}  // namespace lookdown
