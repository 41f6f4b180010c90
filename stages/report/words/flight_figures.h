// Figures of a flight that follow from its record and are said in several places: page, field text, terminal.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

/// Frames by verdict; a file that could not be read counts as dropped.
struct VerdictCounts {
  int keep = 0;
  int unsure = 0;
  int drop = 0;
  int unreadable = 0;  ///< of the dropped
  int by_person = 0;
};
[[nodiscard]] VerdictCounts verdict_counts(const FlightRecord&);

/// The reason that decided: the first that asks for the frame's verdict, else the first; null when there is
/// none.
[[nodiscard]] const Reason* deciding_reason(const Decision&);

/// Deciding reason of each frame with this verdict and how often it occurs, most frequent first.
[[nodiscard]] std::vector<std::pair<std::string, int>> reason_counts(const FlightRecord&, Verdict);

/// Smallest, middle and largest of what is known.
struct Spread {
  double least = 0;
  double median = 0;
  double most = 0;
  int count = 0;
};
[[nodiscard]] std::optional<Spread> spread(std::vector<double> values);

/// "Make Model" without saying the make twice; empty when the file does not tell.
[[nodiscard]] std::string camera_name(const FrameInfo&);

/// Camera above the ground plane in metres; empty without scale.
[[nodiscard]] std::optional<double> height_m(const FlightRecord&, const FrameRecord&);
/// Ground size of the frame's middle pixel, mean of along and across the tilt, in metres; empty without
/// scale.
[[nodiscard]] std::optional<double> gsd_m(const FlightRecord&, const FrameRecord&);

/// Where a ground position (world units) lies in the mosaic; empty when no frame is placed.
[[nodiscard]] std::optional<Point2<MosaicPx>> mosaic_position(const FlightRecord&, double x, double y);

/// Number of frames placed in the part that the mosaic shows.
[[nodiscard]] int placed_count(const FlightRecord&);

}  // namespace lookdown::report
