#include "stages/mosaic/output/print/legend.h"

#include <algorithm>
#include <map>

namespace lookdown::mosaic {

std::string days_taken(const FlightRecord& flight) {
  std::string first, last;
  for (const FrameRecord& frame : flight.frames) {
    if (!frame.placement.placed || frame.decision.verdict == Verdict::drop || !frame.info.taken_at) continue;
    const std::string day = frame.info.taken_at->substr(0, 10);
    if (day.size() < 10) continue;
    first = first.empty() ? day : std::min(first, day);
    last = std::max(last, day);
  }
  return first == last ? first : first + " to " + last;
}

std::string title_of(const FlightRecord& flight, const std::string& given) {
  if (!given.empty()) return given;
  std::map<std::string, int> folders;
  for (const FrameRecord& frame : flight.frames)
    ++folders[frame.source.path.parent_path().filename().string()];
  const auto most = std::max_element(folders.begin(), folders.end(),
                                     [](const auto& a, const auto& b) { return a.second < b.second; });
  return most == folders.end() || most->first.empty() ? "Mosaic" : most->first;
}

bool north_is_known(const FlightPlacement& placement) {
  return !placement.north_from.empty() && placement.north_from != "arbitrary" &&
         placement.north_from != "none";
}

std::string accuracy_line(const FlightPlacement& placement) {
  return placement.accuracy.sentence.empty() ? "Accuracy not known: no check points."
                                             : placement.accuracy.sentence;
}

}  // namespace lookdown::mosaic
