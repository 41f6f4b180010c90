// Where control points were marked in frames and where the placement expects them, with full-size pixels
// around: to find marks that sit wrong and put them right.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/report/report.h"

namespace lookdown::report {

/// One control point in one frame.
struct MarkPlace {
  int frame = 0;
  std::string name;
  std::optional<Point2<StoredPx>> marked;    ///< as given in marks.csv
  std::optional<Point2<StoredPx>> expected;  ///< from the placement and the point's given position
  int left_px = 0, top_px = 0;               ///< of the crop, in pixels as displayed
  int width_px = 0, height_px = 0;
  std::string jpeg;  ///< crop as displayed; empty where the frame could not be read
};

/// All marks of the marks file, then unmarked places where a point should be seen; ordered by point, then
/// frame. A marks file that cannot be read gives none (place has said so already).
[[nodiscard]] std::vector<MarkPlace> control_marks(const FlightRecord&, const Options&, RunContext&);

}  // namespace lookdown::report
