// Which frames take part in placing, what is known of their cameras and tilts, and why the others do not.
#pragma once

#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/place/adjustment/network.h"
#include "stages/place/group.h"

namespace lookdown::place {

struct Participants {
  std::vector<TieFrame> frames;      ///< without features yet
  std::vector<KnownCamera> cameras;  ///< one for each kind of camera and frame size
  std::vector<int> camera_of_frame;
  std::vector<TiltKnowledge> tilts;
};

/// Chooses the frames; those that stay out get FramePlacement::why_not. Every frame's placement is reset.
[[nodiscard]] Participants choose_participants(FlightRecord&);

}  // namespace lookdown::place
