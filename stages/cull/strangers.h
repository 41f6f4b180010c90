// Frames that show something else than the flight does: feet, grass at arm's length, people about the rig,
// the inside of a bag. What these have in common is what they lack: they look like no other frame, and they
// share nothing with those before and after them. Private to the stage (and its tests).
#pragma once

#include <optional>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::cull {

/// Beyond, a frame is unlike the others (see `unlikeness`).
inline constexpr double kUnlike = 2;

/// How far each frame lies from the third nearest other one in colour, its spread and its fineness (of the
/// thumbnails), over what is the median for such distances in the flight; the scale of each is its robust
/// spread in the flight. The third nearest, since a foot is seldom taken once. Empty for frames that are not
/// `compared`, and for all with fewer than ten that are.
[[nodiscard]] std::vector<std::optional<double>> unlikeness(const std::vector<FrameRecord>&,
                                                            const std::vector<char>& compared);

/// What is unlike the other frames, as a reason; the word tells it from others.
[[nodiscard]] Reason unlike_the_others(double unlikeness);

/// After placing: whether frames that look down hang together with the flight. Those that do are none,
/// however unlike they look. Of sharp frames that no other overlaps it tells whether some should: frames that
/// were not placed, or in a part of the flight too small to be one, become View::other and unsure
///  - between two frames, before and after in time, that are tied to each other or to a third: the flight was
///  over
///    ground that others show too;
///  - before the first and after the last placed frame.
/// Nothing is told where less than two thirds of the frames that could be placed are: such a flight has gaps
/// between its frames, or ground that cannot be matched. Frames of water alone, and those that are blurred,
/// have reasons of their own.
void settle_strangers(FlightRecord&);

}  // namespace lookdown::cull
