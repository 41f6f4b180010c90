#include "stages/report/words/summary.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>
#include <sstream>

#include "stages/report/words/field_text.h"
#include "stages/report/words/flight_figures.h"

namespace lookdown::report {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kColumns = 80;
constexpr std::size_t kMostWarnings = 4;

struct OutputFile {
  const char* name;
  const char* what;
};
// Folders count what they hold.
constexpr std::array<OutputFile, 6> kFolders{{{"levelled", "level copies of frames that show the horizon"},
                                              {"rectified", "obliques laid onto the ground"},
                                              {"deglinted", "copies with glare filled from other frames"},
                                              {"kept", "kept frames"},
                                              {"control", "crops of control points to look at"},
                                              {"masks", "masks of water and glare"}}};
constexpr std::array<OutputFile, 4> kOutputs{{{"report.html", "the page to look at: open it in a browser"},
                                              {"mosaic.tif", "the mosaic"},
                                              {"frames.csv", "every frame with its numbers and reasons"},
                                              {"flight.json", "the record of the run"}}};

std::string without_control_characters(std::string text) {
  for (char& c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte == 0x7f) c = '?';
  }
  return text;
}

std::size_t columns_of(const std::string& text) {
  // Continuation bytes of UTF-8 take no column.
  return static_cast<std::size_t>(
      std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; }));
}

/// Breaks at spaces; further lines are set in by `indent`. At most `most_lines`; what does not fit ends in
/// "...".
std::string wrapped(const std::string& text, std::size_t indent, std::size_t most_lines = 3) {
  std::string out, line;
  std::size_t lines = 1;
  std::istringstream words(without_control_characters(text));
  const std::size_t lead = text.find_first_not_of(' ');
  line.assign(lead == std::string::npos ? 0 : lead, ' ');
  bool first = true;
  for (std::string word; words >> word; first = false) {
    if (!first && columns_of(line) + 1 + columns_of(word) > kColumns) {
      if (lines++ == most_lines) return out + line + " ...\n";
      out += line + "\n";
      line.assign(indent, ' ');
      line += word;
    } else {
      line += (first ? "" : " ") + word;
    }
  }
  return out + line + "\n";
}

std::string counts_in_words(const FlightRecord& record) {
  const VerdictCounts counts = verdict_counts(record);
  std::string text = fmt::format("{} frames: {} keep, {} unsure, {} drop\n", record.frames.size(),
                                 counts.keep, counts.unsure, counts.drop);
  if (counts.drop > 0) text += wrapped("  drop: " + reasons_in_words(record, Verdict::drop), 4, 2);
  if (counts.unsure > 0) text += wrapped("  unsure: " + reasons_in_words(record, Verdict::unsure), 4, 2);
  return text;
}

std::string mosaic_in_words(const FlightRecord& record) {
  const int placed = placed_count(record);
  if (!record.mosaic)
    return placed > 0 ? fmt::format("Joined: {} of {} frames\n", placed, record.frames.size()) : "";
  const MosaicRecord& mosaic = *record.mosaic;
  std::string text =
      fmt::format("Mosaic: {} x {} px from {} frames", mosaic.width_px, mosaic.height_px, mosaic.frames_used);
  if (record.placement.gsd_m) text += fmt::format(", {} a pixel", length_in_words(*record.placement.gsd_m));
  if (mosaic.covered_m2) text += fmt::format(", {:.0f} m2", *mosaic.covered_m2);
  return wrapped(text, 2);
}

std::string warnings_in_words(const FlightRecord& record) {
  if (record.warnings.empty()) return {};
  std::string text = "Know this first:\n";
  const std::size_t shown = std::min(kMostWarnings, record.warnings.size());
  for (std::size_t i = 0; i < shown; ++i) text += wrapped("  - " + record.warnings[i], 4, 2);
  if (record.warnings.size() > shown) {
    text += fmt::format("  - and {} more in flight.json\n", record.warnings.size() - shown);
  }
  return text;
}

int pictures_in(const fs::path& folder) {
  std::error_code none;
  int count = 0;
  for (const auto& entry : fs::directory_iterator(folder, none)) count += entry.path().extension() != ".tfw";
  return count;
}

std::string files_in_words(const fs::path& out) {
  std::string text;
  for (const OutputFile& file : kOutputs) {
    if (fs::exists(out / file.name)) text += fmt::format("  {}  {}\n", (out / file.name).string(), file.what);
  }
  for (const OutputFile& folder : kFolders) {
    const int count = pictures_in(out / folder.name);
    if (count > 0) text += fmt::format("  {}/  {} {}\n", (out / folder.name).string(), count, folder.what);
  }
  return text.empty() ? text : "In the output folder:\n" + text;
}

std::vector<std::string> next_steps(const FlightRecord& record, const fs::path& out) {
  std::vector<std::string> steps;
  const VerdictCounts counts = verdict_counts(record);
  if (fs::exists(out / "report.html")) {
    steps.push_back(counts.unsure > 0
                        ? fmt::format("look at the {} unsure frames in report.html, save choices.csv there "
                                      "and run again with --choices choices.csv",
                                      counts.unsure)
                        : std::string("open report.html"));
  }
  if (record.mosaic && !record.placement.gsd_m) {
    steps.push_back("for a scale give control points (--control-file and --marks-file) or --scale-bar");
  }
  return steps;
}

}  // namespace

std::string summary(const FlightRecord& record, const fs::path& out) {
  std::string text = counts_in_words(record);
  text += mosaic_in_words(record);
  if (placed_count(record) > 0)
    text += wrapped("Accuracy: " + accuracy_sentence(record), 2, 6);  // its cautions stand last
  text += warnings_in_words(record);
  text += files_in_words(out);
  for (const std::string& step : next_steps(record, out)) text += wrapped("Next: " + step, 6, 2);
  return text;
}

std::string summary_json(const FlightRecord& record, const fs::path& out) {
  using nlohmann::json;
  const VerdictCounts counts = verdict_counts(record);
  const auto reasons = [&](Verdict verdict) {
    json object = json::object();
    for (const auto& [reason, count] : reason_counts(record, verdict)) object[reason] = count;
    return object;
  };
  json files = json::object();
  for (const OutputFile& file : kOutputs) {
    if (fs::exists(out / file.name)) files[file.name] = (out / file.name).string();
  }
  json timings = json::object();
  for (const StageTiming& timing : record.timings) timings[timing.stage] = timing.seconds;
  const FlightPlacement& placement = record.placement;
  const json object = {
      {"frames", record.frames.size()},
      {"keep", counts.keep},
      {"unsure", counts.unsure},
      {"drop", counts.drop},
      {"unreadable", counts.unreadable},
      {"by_person", counts.by_person},
      {"drop_reasons", reasons(Verdict::drop)},
      {"unsure_reasons", reasons(Verdict::unsure)},
      {"placed", placed_count(record)},
      {"groups", placement.groups},
      {"gsd_m", placement.gsd_m ? json(*placement.gsd_m) : json(nullptr)},
      {"tie_point_rmse_px",
       placed_count(record) > 0 ? json(placement.accuracy.tie_point_rmse_px) : json(nullptr)},
      {"check_rmse_r_m",
       placement.accuracy.check_rmse_r_m ? json(*placement.accuracy.check_rmse_r_m) : json(nullptr)},
      {"nssda_95_m", placement.accuracy.nssda_95_m ? json(*placement.accuracy.nssda_95_m) : json(nullptr)},
      {"accuracy", accuracy_sentence(record)},
      {"warnings", record.warnings},
      {"files", files},
      {"seconds", timings}};
  return object.dump(-1, ' ', false, json::error_handler_t::replace);
}

}  // namespace lookdown::report
