#include "stages/report/words/field_text.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

#include "stages/report/words/flight_figures.h"
#include "stages/report/words/verdict_in_words.h"

namespace lookdown::report {
namespace {

constexpr const char* kNotKnown = "not known";

std::string line(const std::string& heading, const std::string& text) {
  return heading + ": " + text + "\n";
}

std::string when_in_words(const FlightRecord& record) {
  std::vector<std::string> times;
  for (const FrameRecord& frame : record.frames) {
    if (frame.info.taken_at) times.push_back(*frame.info.taken_at);
  }
  if (times.empty()) return kNotKnown;
  const auto [first, last] = std::minmax_element(times.begin(), times.end());
  const std::size_t missing = record.frames.size() - times.size();
  std::string text = fmt::format("{} to {} by the camera's clock", *first, *last);
  if (missing > 0) text += fmt::format("; {} of {} files carry no time", missing, record.frames.size());
  return text;
}

std::string camera_in_words(const FrameInfo& info) {
  std::string text = camera_name(info);
  if (text.empty()) text = "camera not named in the files";
  if (!info.lens.empty()) text += ", " + info.lens;
  if (info.focal_length_mm) text += fmt::format(", {:g} mm", *info.focal_length_mm);
  if (info.camera.fx_px > 0) {
    text += fmt::format(", focal length {:.0f} px", info.camera.fx_px);
    if (!info.camera.focal_from.empty()) text += fmt::format(" ({})", info.camera.focal_from);
  }
  if (info.camera.width_px > 0)
    text += fmt::format(", {} x {} px", info.camera.width_px, info.camera.height_px);
  return text;
}

std::string cameras_in_words(const FlightRecord& record) {
  std::set<std::string> seen;
  std::string text;
  for (const FrameRecord& frame : record.frames) {
    if (frame.fault || !seen.insert(camera_in_words(frame.info)).second) continue;
    text += (text.empty() ? "" : "; ") + camera_in_words(frame.info);
    if (seen.size() == 4) return text + "; and others";
  }
  return text.empty() ? kNotKnown : text;
}

std::string spread_in_words(const FlightRecord& record,
                            std::optional<double> (*figure)(const FlightRecord&, const FrameRecord&),
                            std::string (*in_words)(double)) {
  std::vector<double> values;
  for (const FrameRecord& frame : record.frames) {
    if (const auto value = figure(record, frame)) values.push_back(*value);
  }
  const auto range = spread(std::move(values));
  if (!range) return std::string(kNotKnown) + " (no scale: give control points, a scale bar or positions)";
  return fmt::format("{} to {}, median {} ({} frames)", in_words(range->least), in_words(range->most),
                     in_words(range->median), range->count);
}

std::string frames_in_words(const FlightRecord& record) {
  const VerdictCounts counts = verdict_counts(record);
  std::string text = fmt::format("{} files; {} kept", record.frames.size(), counts.keep);
  text += fmt::format(", {} unsure", counts.unsure);
  if (const std::string why = reasons_in_words(record, Verdict::unsure); !why.empty())
    text += " (" + why + ")";
  text += fmt::format(", {} dropped", counts.drop);
  if (const std::string why = reasons_in_words(record, Verdict::drop); !why.empty()) text += " (" + why + ")";
  if (counts.by_person > 0) text += fmt::format("; {} set by a person", counts.by_person);
  return text;
}

std::string mosaic_line(const FlightRecord& record) {
  if (!record.mosaic) return "none: no frames could be joined";
  const MosaicRecord& mosaic = *record.mosaic;
  std::string text =
      fmt::format("{} x {} px from {} frames", mosaic.width_px, mosaic.height_px, mosaic.frames_used);
  if (record.placement.gsd_m)
    text += fmt::format(", pixel size {} on the ground", length_in_words(*record.placement.gsd_m));
  if (mosaic.covered_m2) text += fmt::format(", {:.0f} m\u00b2 covered", *mosaic.covered_m2);
  if (mosaic.unavoidable_glare_m2 && *mosaic.unavoidable_glare_m2 > 0) {
    text +=
        fmt::format(", of it {:.1f} m\u00b2 hidden by glare in every frame", *mosaic.unavoidable_glare_m2);
  }
  return text;
}

std::string plane_in_words(const FlightRecord& record) {
  std::string text = "all frames on one level ground plane; what stands above it leans away from the camera";
  if (record.mosaic && record.mosaic->largest_lean_m) {
    text += fmt::format(", by up to {} in this mosaic", length_in_words(*record.mosaic->largest_lean_m));
  } else if (record.mosaic && record.mosaic->lean_per_m_height) {
    text += fmt::format(", in this mosaic by up to {:.2f} m for each metre of height",
                        *record.mosaic->lean_per_m_height);
  }
  return text;
}

std::string control_in_words(const FlightRecord& record) {
  const auto& points = record.placement.accuracy.points;
  const auto checks =
      std::count_if(points.begin(), points.end(), [](const auto& point) { return point.check; });
  if (points.empty()) return "no control points";
  std::string text = fmt::format("{} control points in the fit, {} check points withheld",
                                 static_cast<long>(points.size()) - checks, checks);
  if (record.placement.accuracy.control_rmse_m) {
    text += fmt::format("; fit residual {} (RMSE, not an accuracy)",
                        length_in_words(*record.placement.accuracy.control_rmse_m));
  }
  return text;
}

std::string datum_in_words(const FlightRecord& record) {
  const FlightPlacement& placement = record.placement;
  return fmt::format("scale from {}; north from {}; coordinates {}",
                     placement.scale_from.empty() ? "nothing" : placement.scale_from,
                     placement.north_from.empty() ? "nothing" : placement.north_from,
                     placement.crs     ? *placement.crs
                     : placement.gsd_m ? "local metres"
                                       : "mosaic pixels");
}

}  // namespace

std::string length_in_words(double metres) {
  const double size = std::abs(metres);
  if (size < 0.01) return fmt::format("{:.1f} mm", metres * 1e3);
  if (size < 0.1) return fmt::format("{:.0f} mm", metres * 1e3);
  if (size < 10) return fmt::format("{:.2f} m", metres);
  return fmt::format("{:.1f} m", metres);
}

std::string reasons_in_words(const FlightRecord& record, Verdict verdict) {
  std::string text;
  for (const auto& [reason, count] : reason_counts(record, verdict)) {
    text += fmt::format("{}{} {}", text.empty() ? "" : ", ", count, reason);
  }
  return text;
}

std::string accuracy_sentence(const FlightRecord& record) {
  const Accuracy& accuracy = record.placement.accuracy;
  if (!accuracy.sentence.empty()) return accuracy.sentence;
  if (placed_count(record) == 0) return "Nothing was joined, so there are no positions to trust.";
  if (accuracy.nssda_95_m) {
    return fmt::format("Tested {} horizontal accuracy at 95 % confidence level on {} check points.",
                       length_in_words(*accuracy.nssda_95_m), accuracy.check_points);
  }
  return fmt::format(
      "Frames agree with each other to {:.2f} px (RMSE of tie points); accuracy on the ground is not known, "
      "because no check points were given.",
      accuracy.tie_point_rmse_px);
}

/// "cover-share 1; order best; ...": every option that has a value, as a reader takes it in.
std::string options_in_words(const FlightRecord& record) {
  const auto options = nlohmann::json::parse(record.options_json, nullptr, false);
  if (!options.is_object()) return kNotKnown;
  std::vector<std::string> words;
  for (const auto& [name, value] : options.items()) {
    if (value.is_null() || (value.is_string() && value.get<std::string>().empty()) ||
        (value.is_array() && value.empty()))
      continue;
    if (value.is_boolean()) {
      words.push_back(fmt::format("{} {}", name, value.get<bool>() ? "yes" : "no"));
    } else if (value.is_array()) {
      std::vector<std::string> parts;
      for (const auto& part : value)
        parts.push_back(part.is_string() ? part.get<std::string>() : part.dump());
      words.push_back(fmt::format("{} {}", name, fmt::join(parts, ",")));
    } else {
      words.push_back(
          fmt::format("{} {}", name, value.is_string() ? value.get<std::string>() : value.dump()));
    }
  }
  return words.empty() ? kNotKnown : fmt::format("{}", fmt::join(words, "; "));
}

std::string field_text(const FlightRecord& record) {
  const FlightVerdict verdict = flight_verdict(record);
  std::string text = verdict.headline;
  for (const std::string& sentence : verdict.known) text += " " + sentence;
  for (const std::string& sentence : verdict.missing) text += " " + sentence;
  text += "\n\n";
  text += line("Taken", when_in_words(record));
  text += line("Camera", cameras_in_words(record));
  text += line("Height above ground", spread_in_words(record, height_m, length_in_words));
  text += line("Ground sample distance of the frames", spread_in_words(record, gsd_m, length_in_words));
  text += line("Frames", frames_in_words(record));
  text +=
      line("Joined", record.placement.groups > 1 ? fmt::format("{} frames, one of {} parts that do not touch",
                                                               placed_count(record), record.placement.groups)
                                                 : fmt::format("{} frames", placed_count(record)));
  text += line("Mosaic", mosaic_line(record));
  if (!record.clearest_views.empty())
    text += line("Glare", fmt::format("{} spots of ground glare in some frame; least_glare.csv names the "
                                      "frame that shows each with the least",
                                      record.clearest_views.size()));
  text += line("Plane", plane_in_words(record));
  text += line("Control", control_in_words(record));
  text += line("Datum", datum_in_words(record));
  text += line("Accuracy", accuracy_sentence(record));
  for (const std::string& note : record.notes) text += line("Note", note);
  text += line("Software", fmt::format("lookdown {}", record.program_version));
  text += line("Command", record.command_line.empty() ? kNotKnown : record.command_line);
  text += line("Options", options_in_words(record));
  text +=
      "This is a picture map for orientation and comparison. It is no licensed survey, and glare masks are "
      "no "
      "water-quality measurement.\n";
  return text;
}

}  // namespace lookdown::report
