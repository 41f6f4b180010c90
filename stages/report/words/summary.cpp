#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "stages/report/report.h"
#include "stages/report/words/field_text.h"
#include "stages/report/words/flight_figures.h"

namespace lookdown::report {
namespace {

constexpr std::size_t kColumns = 80;
constexpr std::size_t kMostWarnings = 4;
constexpr std::size_t kLines = 24;  // of a terminal as it comes up

struct OutputFile {
  const char* name;  // a folder ends in /
  const char* what;
};
// In the order of what people open first.
constexpr std::array<OutputFile, 20> kOutputs{{
    {"report.html", "the page to look at: open it in a browser"},
    {"marks.csv", "marks of the control points, to confirm and give back as --marks-file"},
    {"control/", "crops of control points to look at"},
    {"mosaic.tif", "the mosaic"},
    {"mosaic.jpg", "its preview with scale bar and north arrow"},
    {"mosaic_clean.jpg", "the picture alone, cropped, without marks"},
    {"mosaic_print.pdf", "print sheet at a true scale"},
    {"mosaic.kmz", "ground overlay for globe viewers"},
    {"mosaic_tiles/", "tiles of the page's map"},
    {"surface.tif", "heights"},
    {"levelled/", "level copies of frames that show the horizon"},
    {"rectified/", "obliques laid onto the ground"},
    {"deglinted/", "copies with glare filled from other frames, and where from"},
    {"kept/", "kept frames"},
    {"masks/", "masks of water and glare"},
    {"sidecars/", "verdicts for other programs"},
    {"frames.csv", "every frame with its numbers and reasons"},
    {"mosaic_sources.tif", "which frame each pixel came from"},
    {"mosaic_glare.tif", "where glare is left"},
    {"flight.json", "the record of the run"},
}};

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

/// Where the frames came from, when that is more than one folder.
std::string folders_in_words(const FlightRecord& record) {
  std::map<std::string, int> folders;
  for (const FrameRecord& frame : record.frames) {
    const std::size_t slash = frame.source.file.find_last_of('/');
    ++folders[slash == std::string::npos ? "the folder itself" : frame.source.file.substr(0, slash + 1)];
  }
  if (folders.size() < 2) return {};
  std::string list;
  for (const auto& [folder, count] : folders)
    list += fmt::format("{}{} from {}", list.empty() ? "" : ", ", count, folder);
  return wrapped("  " + list, 4, 2);
}

std::string counts_in_words(const FlightRecord& record) {
  const VerdictCounts counts = verdict_counts(record);
  std::string text = fmt::format("{} frames: {} keep, {} unsure, {} drop\n", record.frames.size(),
                                 counts.keep, counts.unsure, counts.drop);
  text += folders_in_words(record);
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

std::size_t lines_of(const std::string& text) {
  return static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
}

/// The most important warnings, as many as `lines` hold with their heading, and never none.
std::string warnings_in_words(const FlightRecord& record, std::size_t lines) {
  if (record.warnings.empty()) return {};
  std::string text = "Know this first:\n";
  const std::size_t most = std::min(kMostWarnings, record.warnings.size());
  std::size_t shown = 0;
  for (; shown < most; ++shown) {
    const std::string next = wrapped("  - " + record.warnings[shown], 4, 4);
    const std::size_t and_more = shown + 1 < record.warnings.size() ? 1 : 0;
    if (shown > 0 && lines_of(text + next) + and_more > lines) break;
    text += next;
  }
  if (record.warnings.size() > shown) {
    text += fmt::format("  - and {} more in flight.json\n", record.warnings.size() - shown);
  }
  return text;
}

std::string top_of(const std::string& name) {
  const std::size_t slash = name.find('/');
  return slash == std::string::npos ? name : name.substr(0, slash + 1);
}

bool is_world_file(const std::string& name) {
  return name.ends_with(".tfw") || name.ends_with(".jgw") || name.ends_with(".aux.xml");
}

/// Files at the top of the folder by name, and folders with the number of files in them.
std::map<std::string, int> by_top(const std::vector<std::string>& names) {
  std::map<std::string, int> tops;
  for (const std::string& name : names) tops[top_of(name)] += is_world_file(name) ? 0 : 1;
  return tops;
}

std::string with_count(const std::string& top, int count) {
  return top.ends_with('/') ? fmt::format("{} ({} files)", top, count) : top;
}

std::string files_in_words(const RunWords& run) {
  if (run.written.empty()) return {};
  std::map<std::string, int> tops = by_top(run.written);
  std::string text = "Written:\n";
  for (const OutputFile& file : kOutputs) {
    const auto found = tops.find(file.name);
    if (found == tops.end()) continue;
    text += fmt::format("  {}  {}{}\n", without_control_characters((run.out / file.name).string()),
                        found->first.ends_with('/') ? fmt::format("{} ", found->second) : "", file.what);
    tops.erase(found);
  }
  std::string others;
  for (const auto& [top, count] : tops) others += (others.empty() ? "" : ", ") + with_count(top, count);
  if (!others.empty()) text += wrapped("  also " + others, 4);
  std::string left;
  for (const auto& [top, count] : by_top(run.left))
    left += (left.empty() ? "" : ", ") + with_count(top, count);
  if (!left.empty()) text += wrapped("Left there by an earlier run: " + left, 2, 2);
  return text;
}

std::string files_in_view(const FlightRecord& record) {
  std::set<std::string> sizes, cameras, focal_from;
  std::string first, last;
  int read = 0, positions = 0;
  for (const FrameRecord& frame : record.frames) {
    if (frame.fault) continue;
    ++read;
    sizes.insert(fmt::format("{} x {} px", frame.source.width_px, frame.source.height_px));
    cameras.insert(camera_name(frame.info).empty() ? "camera not named" : camera_name(frame.info));
    focal_from.insert(
        fmt::format("{:.0f} px from {}", frame.info.camera.fx_px, frame.info.camera.focal_from));
    positions += frame.info.position.has_value();
    if (!frame.info.taken_at) continue;
    if (first.empty() || *frame.info.taken_at < first) first = *frame.info.taken_at;
    last = std::max(last, *frame.info.taken_at);
  }
  std::string text = fmt::format("{} files, {} can be read\n", record.frames.size(), read);
  const auto line = [&](const char* what, const std::set<std::string>& values) {
    if (!values.empty()) text += wrapped(fmt::format("  {}: {}", what, fmt::join(values, "; ")), 4, 2);
  };
  line("size", sizes);
  line("camera", cameras);
  line("focal length", focal_from);
  text += first.empty() ? "  time: not known\n" : wrapped("  taken: " + first + " to " + last, 4, 2);
  text += folders_in_words(record);
  return text +
         fmt::format("  positions: {}\n", positions == 0 ? "none" : fmt::format("{} files", positions));
}

std::string levels_in_words(const FlightRecord& record, const RunWords& run) {
  int horizons = 0, tilts = 0;
  for (const FrameRecord& frame : record.frames) {
    horizons += frame.horizon.has_value();
    tilts += frame.tilt.has_value();
  }
  const int copies = by_top(run.written)["levelled/"];
  return fmt::format("{} frames: {} show the horizon, tilt known of {}, {} levelled\n", record.frames.size(),
                     horizons, tilts, copies);
}

std::string glare_in_words(const FlightRecord& record) {
  int water = 0, glaring = 0;
  const FrameRecord* worst = nullptr;
  for (const FrameRecord& frame : record.frames) {
    if (!frame.glare) continue;
    water += frame.glare->water_share > 0;
    glaring += frame.glare->glare_share > 0;
    if (worst == nullptr || frame.glare->glare_share > worst->glare->glare_share) worst = &frame;
  }
  std::string text =
      fmt::format("{} frames: {} show water, {} show glare\n", record.frames.size(), water, glaring);
  if (glaring > 0)
    text += wrapped(
        fmt::format("  most: {}, {:.1f} % of the frame", worst->source.file, 100 * worst->glare->glare_share),
        4, 2);
  return text;
}

std::string marks_in_words(const FlightRecord& record, const RunWords& run) {
  return fmt::format("{} of {} frames joined; {} crops of control points to look at\n", placed_count(record),
                     record.frames.size(), by_top(run.written)["control/"]);
}

/// What the command is for, first.
std::string purpose_in_words(const FlightRecord& record, const RunWords& run) {
  if (run.command == "inspect") return files_in_view(record);
  if (run.command == "level") return levels_in_words(record, run);
  if (run.command == "glare") return glare_in_words(record);
  if (run.command == "control") return marks_in_words(record, run);
  std::string text;
  if (run.command == "rectify")
    text = fmt::format("{} frames laid onto the ground\n", by_top(run.written)["rectified/"]);
  return text + counts_in_words(record) + mosaic_in_words(record);
}

std::vector<std::string> next_steps(const FlightRecord& record, const RunWords& run) {
  std::vector<std::string> steps;
  const VerdictCounts counts = verdict_counts(record);
  const std::map<std::string, int> written = by_top(run.written);
  if (written.contains("report.html")) {
    steps.push_back(counts.unsure > 0
                        ? fmt::format("look at the {} unsure frames in report.html, save choices.csv there "
                                      "and run again with --choices-file choices.csv",
                                      counts.unsure)
                        : std::string("open report.html"));
  }
  if (run.command == "control" && written.contains("marks.csv"))
    steps.push_back("look at the crops, delete wrong rows of marks.csv and give it to run as --marks-file");
  if (run.command == "rectify" && !written.contains("rectified/"))
    steps.push_back("say how high the camera was with --camera-height-m");
  if (record.mosaic && !record.placement.gsd_m) {
    steps.push_back("for a scale give control points (--control-file and --marks-file) or --scale-bar");
  }
  return steps;
}

}  // namespace

std::string summary(const FlightRecord& record, const RunWords& run) {
  std::string text = purpose_in_words(record, run);
  if (placed_count(record) > 0)
    text += wrapped("Accuracy: " + accuracy_sentence(record), 2, 6);  // its cautions stand last
  std::string end = files_in_words(run);
  for (const std::string& step : next_steps(record, run)) end += wrapped("Next: " + step, 6, 2);
  const std::size_t taken = lines_of(text) + lines_of(end);
  return text + warnings_in_words(record, taken < kLines ? kLines - taken : 0) + end;
}

std::string summary_json(const FlightRecord& record, const RunWords& run) {
  using nlohmann::json;
  const VerdictCounts counts = verdict_counts(record);
  const auto reasons = [&](Verdict verdict) {
    json object = json::object();
    for (const auto& [reason, count] : reason_counts(record, verdict)) object[reason] = count;
    return object;
  };
  json files = json::object();
  for (const auto& [top, count] : by_top(run.written)) files[top] = (run.out / top).string();
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
