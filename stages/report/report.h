// report: the page a person looks at. Common rules: one self-contained file that works from disk; every text that came from the
// card is escaped; every number has its unit.
#pragma once

#include "pipeline/flight_record.h"
#include "pipeline/option_table.h"
#include "pipeline/run_context.h"

namespace lookdown::report {

struct Options {
  int thumbnail_px = 320;  ///< long side of a thumbnail
};
void describe(Options&, OptionVisitor&);

/// Writes report.html below context.out.
void write(const FlightRecord&, const Options&, RunContext&);

}  // namespace lookdown::report
