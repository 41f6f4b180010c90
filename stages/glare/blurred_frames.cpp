#include <algorithm>
#include <system_error>

#include "stages/glare/glare.h"

namespace lookdown::glare {
namespace {

bool dropped_for_blur(const Decision& decision) {
  return decision.verdict == Verdict::drop && !decision.by_person &&
         std::any_of(decision.reasons.begin(), decision.reasons.end(), [](const Reason& reason) {
           return reason.asks_for == Verdict::drop &&
                  (reason.word.starts_with("blurred") || reason.word.starts_with("smeared"));
         });
}

}  // namespace

void forget_blurred(FlightRecord& flight, const std::filesystem::path& out) {
  for (FrameRecord& frame : flight.frames) {
    if (!frame.glare || !dropped_for_blur(frame.decision)) continue;
    for (const std::string& mask : {frame.glare->mask_file, frame.glare->water_mask_file}) {
      std::error_code absent;
      if (!mask.empty()) std::filesystem::remove(out / mask, absent);
    }
    frame.glare.reset();
  }
}

}  // namespace lookdown::glare
