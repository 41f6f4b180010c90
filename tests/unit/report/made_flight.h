// A made-up flight over made-up ground with everything decided, for looking at the report without running the
// other stages.
#pragma once

#include <filesystem>

#include "pipeline/record/flight_record.h"

namespace lookdown::test {

struct MadeFlight {
  FlightRecord record;
  std::filesystem::path out;  ///< holds the frames, a mosaic preview, glare masks
  std::string marks_file;     ///< marks of the control points, one of them 12 px off
};

/// A name that would run a script if any part of the page took it for markup.
inline constexpr const char* kHostileName = "\"><img src=x onerror=alert(1)>.jpg";

/// Writes `count` frames of `long_side_px` below `out` and returns their record: an eighth blurred, some
/// smeared, some near-repeats, one oblique with a horizon, one unreadable, one named kHostileName, some
/// stored on their side. Same count, same bytes.
MadeFlight make_flight(const std::filesystem::path& out, int count, int long_side_px);

/// Leaves what culling alone would have found.
void forget_placement(MadeFlight&);

}  // namespace lookdown::test
