#include "stages/run/inputs/choices.h"

#include <algorithm>
#include <stdexcept>

#include "pipeline/base/files/csv.h"

namespace lookdown {
namespace {

Choices::const_iterator choice_for(const FrameRecord& frame, const Choices& choices) {
  const auto chosen = choices.find(frame.source.file);
  return chosen != choices.end() ? chosen : choices.find(frame.source.twin_file);
}

void choose(FrameRecord& frame, Verdict verdict) {
  if (frame.fault) return;  // what cannot be read cannot be kept
  frame.decision.by_person = true;
  if (frame.decision.verdict == verdict) return;
  frame.decision.verdict = verdict;
  frame.decision.reasons.insert(frame.decision.reasons.begin(), Reason{"chosen by hand", {}, {}, {}});
}

}  // namespace

Choices read_choices(const std::filesystem::path& file) {
  const CsvTable table = CsvTable::read(file, {"file", "verdict"});
  Choices choices;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto verdict = verdict_from_word(table.text(row, "verdict"));
    if (!verdict)
      throw std::runtime_error(table.where(row) + ": verdict is \"" + table.text(row, "verdict") +
                               "\", but must be keep, unsure or drop");
    choices[table.text(row, "file")] = *verdict;
  }
  return choices;
}

void apply_rescues(FlightRecord& record, const Choices& choices) {
  for (FrameRecord& frame : record.frames) {
    const auto chosen = choice_for(frame, choices);
    if (frame.decision.verdict == Verdict::drop && chosen != choices.end() && chosen->second != Verdict::drop)
      choose(frame, chosen->second);
  }
}

void apply_choices(FlightRecord& record, const Choices& choices) {
  Choices unused = choices;
  for (FrameRecord& frame : record.frames) {
    const auto chosen = choice_for(frame, choices);
    if (chosen == choices.end()) continue;
    unused.erase(chosen->first);
    choose(frame, chosen->second);
  }
  for (const auto& [file, verdict] : unused) {
    const std::string warning = "The choices name " + file + ", which is not in this flight.";
    if (std::find(record.warnings.begin(), record.warnings.end(), warning) == record.warnings.end())
      record.warnings.push_back(warning);
  }
}

}  // namespace lookdown
