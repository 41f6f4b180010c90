#include "stages/report/words/flight_figures.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "pipeline/record/mosaic_grid.h"

namespace lookdown::report {

VerdictCounts verdict_counts(const FlightRecord& record) {
  VerdictCounts counts;
  for (const FrameRecord& frame : record.frames) {
    if (frame.fault) ++counts.unreadable;
    if (frame.decision.by_person) ++counts.by_person;
    const Verdict verdict = frame.fault ? Verdict::drop : frame.decision.verdict;
    ++(verdict == Verdict::keep ? counts.keep : verdict == Verdict::unsure ? counts.unsure : counts.drop);
  }
  return counts;
}

const Reason* deciding_reason(const Decision& decision) {
  const auto& reasons = decision.reasons;
  const auto asks = std::find_if(reasons.begin(), reasons.end(),
                                 [&](const Reason& reason) { return reason.asks_for == decision.verdict; });
  if (asks != reasons.end()) return &*asks;
  return reasons.empty() ? nullptr : &reasons.front();
}

std::vector<std::pair<std::string, int>> reason_counts(const FlightRecord& record, Verdict verdict) {
  std::map<std::string, int> counts;
  for (const FrameRecord& frame : record.frames) {
    if (frame.fault) {
      if (verdict == Verdict::drop) ++counts["unreadable"];
    } else if (frame.decision.verdict == verdict) {
      const Reason* reason = deciding_reason(frame.decision);
      ++counts[frame.decision.by_person ? "your choice" : reason ? reason->word : "no reason given"];
    }
  }
  std::vector<std::pair<std::string, int>> sorted(counts.begin(), counts.end());
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return a.second > b.second; });
  return sorted;
}

std::optional<Spread> spread(std::vector<double> values) {
  std::erase_if(values, [](double value) { return !std::isfinite(value); });
  if (values.empty()) return std::nullopt;
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  const double median = values.size() % 2 ? values[half] : (values[half - 1] + values[half]) / 2;
  return Spread{values.front(), median, values.back(), static_cast<int>(values.size())};
}

std::string camera_name(const FrameInfo& info) {
  if (info.model.starts_with(info.make) || info.make.empty()) return info.model;
  return info.model.empty() ? info.make : info.make + " " + info.model;
}

// Only the first group has the flight's scale; the units of a group that does not touch it are its own.
static bool has_metres(const FlightRecord& record, const FrameRecord& frame) {
  return record.placement.gsd_m && frame.placement.placed && frame.placement.group == 0;
}

std::optional<double> height_m(const FlightRecord& record, const FrameRecord& frame) {
  if (!has_metres(record, frame)) return std::nullopt;
  const double ground = record.placement.plane_heights.empty() ? 0 : record.placement.plane_heights.front();
  return frame.placement.pose.centre.z() - ground;
}

std::optional<double> gsd_m(const FlightRecord& record, const FrameRecord& frame) {
  if (!has_metres(record, frame) || frame.placement.camera.fx_px <= 0) return std::nullopt;
  const GroundSampleDistance distance = ground_sample_distance(frame.placement.pose, frame.placement.camera);
  return (distance.along + distance.across) / 2;
}

std::optional<Point2<MosaicPx>> mosaic_position(const FlightRecord& record, double x, double y) {
  if (placed_count(record) == 0) return std::nullopt;
  return mosaic_from_ground(record) * Point2<Ground>{x, y};
}

int placed_count(const FlightRecord& record) {
  return static_cast<int>(std::count_if(
      record.frames.begin(), record.frames.end(),
      [](const FrameRecord& frame) { return frame.placement.placed && frame.placement.group == 0; }));
}

}  // namespace lookdown::report
