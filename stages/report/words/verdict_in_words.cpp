#include "stages/report/words/verdict_in_words.h"

#include <fmt/format.h>

#include <algorithm>

#include "stages/report/words/field_text.h"
#include "stages/report/words/flight_figures.h"

namespace lookdown::report {
namespace {

std::string frames_in_words(std::size_t count) {
  return fmt::format("{} {}", count, count == 1 ? "frame" : "frames");
}

std::string area_in_words(double m2) {
  return m2 < 10000 ? fmt::format("{:.0f} m\u00b2", m2) : fmt::format("{:.2f} ha", m2 / 10000);
}

std::string headline_of_mosaic(const FlightRecord& record) {
  const MosaicRecord& mosaic = *record.mosaic;
  std::string text =
      fmt::format("{} of {} make the mosaic", mosaic.frames_used, frames_in_words(record.frames.size()));
  if (mosaic.covered_m2) text += fmt::format(": {}", area_in_words(*mosaic.covered_m2));
  if (record.placement.gsd_m)
    text += fmt::format(", {} a pixel on the ground", length_in_words(*record.placement.gsd_m));
  return text + ".";
}

std::string headline_of_cull(const FlightRecord& record) {
  const VerdictCounts counts = verdict_counts(record);
  if (counts.keep == 0 && counts.unsure == 0)
    return fmt::format("None of {} serves.", frames_in_words(record.frames.size()));
  std::string text = fmt::format("{} of {} serve", counts.keep, frames_in_words(record.frames.size()));
  if (counts.unsure > 0) text += fmt::format("; {} wait for your eye", counts.unsure);
  return text + ".";
}

std::string scale_in_words(const FlightPlacement& placement) {
  const char* points = placement.scale_from == "control" ? " points" : "";
  std::string text = fmt::format("Scale from {}{}", placement.scale_from, points);
  if (placement.scale_sigma_share)
    text += fmt::format(", sure to {:.2g} %", 100 * *placement.scale_sigma_share);
  return text + ".";
}

bool has_checks(const FlightRecord& record) {
  return record.placement.accuracy.check_points > 0;
}

}  // namespace

bool was_placed(const FlightRecord& record) {
  return placed_count(record) > 0 ||
         std::any_of(record.timings.begin(), record.timings.end(),
                     [](const StageTiming& timing) { return timing.stage == "place"; });
}

FlightVerdict flight_verdict(const FlightRecord& record) {
  FlightVerdict verdict;
  verdict.headline = record.mosaic ? headline_of_mosaic(record) : headline_of_cull(record);
  if (!was_placed(record)) return verdict;
  const FlightPlacement& placement = record.placement;
  if (placed_count(record) == 0) {
    verdict.missing.push_back(
        "No frames could be joined: they share too little ground, or too little can be told apart on it.");
    return verdict;
  }
  const std::string accuracy = accuracy_sentence(record);
  if (placement.gsd_m && accuracy.find("scale") == std::string::npos)
    verdict.known.push_back(scale_in_words(placement));
  verdict.known.push_back(accuracy);
  if (!placement.gsd_m)
    verdict.missing.push_back(
        "The scale is not known: mark the two ends of something of known length, or points of known "
        "position.");
  if (placement.north_from.empty() || placement.north_from == "arbitrary" || placement.north_from == "none")
    verdict.missing.push_back("Up in the mosaic is not north: two points of known position would tell.");
  if (placement.gsd_m && !has_checks(record))
    verdict.missing.push_back(
        "The accuracy on the ground is not tested: keep some points of known position out of the fit.");
  if (record.mosaic && record.mosaic->filled_share && *record.mosaic->filled_share > 0)
    verdict.missing.push_back(
        fmt::format("{:.2g} % of the mosaic comes from blurred frames, because no sharp one sees it.",
                    100 * *record.mosaic->filled_share));
  if (placement.groups > 1)
    verdict.missing.push_back(fmt::format(
        "The frames fall into {} parts that do not touch; the mosaic shows one of them, --part another.",
        placement.groups));
  return verdict;
}

}  // namespace lookdown::report
