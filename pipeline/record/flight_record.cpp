#include "pipeline/record/flight_record.h"

#include <algorithm>

namespace lookdown {

const char* word(View view) {
  switch (view) {
    case View::nadir:
      return "nadir";
    case View::oblique:
      return "oblique";
    case View::horizon:
      return "horizon";
    case View::other:
      break;
  }
  return "other";
}

const char* word(Verdict verdict) {
  switch (verdict) {
    case Verdict::keep:
      return "keep";
    case Verdict::drop:
      return "drop";
    case Verdict::unsure:
      break;
  }
  return "unsure";
}

bool dropped_for_blur_alone(const Decision& decision) {
  if (decision.verdict != Verdict::drop || decision.by_person) return false;
  bool blurred = false;
  for (const Reason& reason : decision.reasons) {
    if (reason.asks_for != Verdict::drop) continue;
    if (!reason.word.starts_with("blurred") && !reason.word.starts_with("smeared")) return false;
    blurred = true;
  }
  return blurred;
}

bool is_used(const FlightRecord& record, std::size_t frame) {
  if (!record.mosaic) return false;
  const std::vector<int>& used = record.mosaic->used_frames;
  return std::find(used.begin(), used.end(), static_cast<int>(frame)) != used.end();
}

std::optional<Verdict> verdict_from_word(const std::string& text) {
  for (const Verdict verdict : {Verdict::keep, Verdict::unsure, Verdict::drop})
    if (text == word(verdict)) return verdict;
  // The word for it in tables that people have kept from version 0.1.
  if (text == "check") return Verdict::unsure;
  return std::nullopt;
}

std::optional<View> view_from_word(const std::string& text) {
  for (const View view : {View::nadir, View::oblique, View::horizon, View::other})
    if (text == word(view)) return view;
  return std::nullopt;
}

}  // namespace lookdown
