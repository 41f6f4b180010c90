// What may be said of the placement's accuracy. A residual on fitted control is no accuracy: only withheld
// check points give one.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/place/datum/datum.h"

namespace lookdown::place {

/// Residuals on control and check points of the group that carries the datum, NSSDA where there are check
/// points (FGDC-STD-007.3-1998: 95 % = 1.7308 RMSE_r), and the sentence for a report.
[[nodiscard]] Accuracy assess(const Group&, const Datum&, const std::vector<ControlPoint>&,
                              const std::vector<TieFrame>&);

}  // namespace lookdown::place
