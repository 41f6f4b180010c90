// Where control points show in every placed frame: predicted from the placement, refined on the pixels,
// offered for a person to confirm. A proposal is never taken for a mark by itself: it becomes one when the
// person hands the table back as the marks file.
#pragma once

#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/place/place.h"

namespace lookdown::place {

struct ProposedMark {
  std::string file;
  std::string name;
  Point2<StoredPx> at;
  std::string from;  ///< "person" (given), "picture" (refined on the pixels) or "placement" (predicted only)
  double likeness = 0;    ///< correlation with the patch around a person's mark, 0 when none was possible
  std::string crop_file;  ///< small picture with a cross on the spot, below the output folder
};

/// Proposals for all control points of options.control_file and options.marks_file, ordered by point, then
/// frame. A point is predicted from its given position when the placement rests on control, else from the
/// marks that a person has set. Throws as read_control does.
[[nodiscard]] std::vector<ProposedMark> propose_marks(FlightRecord&, const Options&, RunContext&);

/// Writes OUT/marks.csv (file,name,x_px,y_px,from,likeness); its first four columns are a marks file.
void write_proposed_marks(const std::vector<ProposedMark>&, RunContext&);

}  // namespace lookdown::place
