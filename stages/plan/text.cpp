#include <fmt/format.h>

#include <cmath>

#include "stages/plan/plan.h"
#include "stages/plan/shutter_in_words.h"

namespace lookdown::plan {
namespace {

std::string clock(int minute_of_day) {
  return fmt::format("{:02}:{:02}", minute_of_day / 60, minute_of_day % 60);
}

std::string zone(const Options& o) {
  return o.utc_offset_h ? fmt::format("local time, UTC{:+g} h", *o.utc_offset_h)
                        : std::string("UTC, because no --utc-offset-h was given");
}

std::string advice(const Row& row) {
  if (row.glint == Glint::none || row.glint == Glint::out_of_frame) return "";
  std::string words;
  if (row.turn_short_side_to_deg)
    words = fmt::format("short side along {:.0f} deg", *row.turn_short_side_to_deg);
  if (!row.tilt_deg) return words;
  if (!words.empty()) words += "; ";
  return words + (row.tilt_too_large ? "wait"
                                     : fmt::format("tilt {:.0f} deg toward {:.0f} deg",
                                                   std::ceil(*row.tilt_deg), *row.tilt_toward_deg));
}

std::string shot_text(const Options& o, const Shot& s) {
  std::string text;
  const auto line = [&](const char* what, const std::string& value) {
    text += fmt::format("  {:<24}{}\n", what, value);
  };
  line("camera to surface", fmt::format("{:.1f} m", s.range_m));
  line("ground sample distance", fmt::format("{:.2f} mm", 1000 * s.ground_sample_distance_m));
  line("footprint", fmt::format("{:.2f} x {:.2f} m ({:.1f} x {:.1f} deg)", s.footprint_width_m,
                                s.footprint_height_m, s.field_width_deg, s.field_height_deg));
  line("spacing",
       fmt::format("{:.2f} m along the path for {:g} % overlap, {:.2f} m between paths for {:g} %",
                   s.forward_spacing_m, o.forward_overlap_percent, s.side_spacing_m, o.side_overlap_percent));
  line("frames", fmt::format("{} = {} paths of {} for {:g} x {:g} m, all of them sharp; take twice as many",
                             s.frames, s.lines, s.frames_in_line, o.area_length_m, o.area_width_m));
  line("smear to expect", fmt::format("{:.2f} px at {} ({:.2f} drift + {:.2f} swing)", s.smear_px,
                                      shutter_in_words(o.shutter_s), s.drift_smear_px, s.swing_smear_px));
  line("under one pixel", fmt::format("{} or shorter", shutter_in_words(s.shutter_for_one_px_s)));
  line("depth of field", s.far_m ? fmt::format("{:.2f} m to {:.2f} m from the camera", s.near_m, *s.far_m)
                                 : fmt::format("{:.2f} m from the camera to infinity", s.near_m) +
                                       fmt::format(" (hyperfocal {:.2f} m)", s.hyperfocal_m));
  if (o.surface == "water") {
    line("sun's mirror image", fmt::format("out of a straight-down frame below {:.1f} deg of sun elevation",
                                           s.clear_below_elevation_deg));
    line("glitter reaches",
         fmt::format("{:.1f} deg round it (mean square slope {:.4f}{})", s.glitter_half_width_deg,
                     s.wave_mean_square_slope, o.pond ? ", small pond" : ""));
  }
  return text;
}

std::string span(const Window& window) {
  return clock(window.from_minute) + " to " + clock(window.to_minute);
}

std::string spans(const std::vector<Window>& windows) {
  std::string words;
  for (const Window& window : windows)
    words += (words.empty() ? "" : &window == &windows.back() ? " and " : ", ") + span(window);
  return words;
}

// What to do, before the numbers that say why.
std::string best_times(const Plan& plan) {
  if (!plan.daylight) return "The sun does not rise on that day.\n";
  std::string text;
  if (plan.options.surface == "water") {
    text += plan.without_glint.empty()
                ? std::string("Best times: none is free of glint at every heading.\n")
                : fmt::format("Best times: {}: no glint, whatever the frame's heading.\n",
                              spans(plan.without_glint));
    if (!plan.if_turned.empty())
      text +=
          fmt::format("Also: {} with the frame turned or tilted as the table says.\n", spans(plan.if_turned));
  }
  return text +
         fmt::format("The sun is up from {}; times are {}.\n", span(*plan.daylight), zone(plan.options));
}

std::string table_words(const Plan& plan) {
  std::string text = fmt::format("{:>5} {:>9} {:>7} {:>9} {:>12}  {:<16}{}\n", "time", "elevation", "azimuth",
                                 "shadow/m", "own shadow", "sun glint", "to lose it");
  bool waits = false;
  for (const Row& row : plan.rows) {
    text += fmt::format("{:>5} {:>9.1f} {:>7.1f} {:>9.2f} {:>10.1f} m  {:<16}{}\n", clock(row.minute_of_day),
                        row.sun.elevation_deg, row.sun.azimuth_deg, row.shadow_per_m,
                        row.camera_shadow_m.value_or(0), word(row.glint), advice(row));
    waits |= row.tilt_too_large;
  }
  if (plan.options.surface == "water")
    text += "short side along: turn the camera so that the frame's shorter side lies along that azimuth.\n";
  if (waits)
    text += "wait: a tilt of more than 20 deg would be needed, which spoils a straight-down picture.\n";
  return text;
}

}  // namespace

std::string shutter_in_words(double seconds) {
  if (!std::isfinite(seconds)) return "any";
  return seconds < 0.4 ? fmt::format("1/{:.0f} s", std::ceil(1 / seconds)) : fmt::format("{:.1f} s", seconds);
}

std::string text_of(const Plan& plan) {
  const Options& o = plan.options;
  std::string text = has_place(o)
                         ? fmt::format("Flight on {} at {:.4f}, {:.4f} over {}\n\n{}", o.date, *o.lat_deg,
                                       *o.lon_deg, o.surface, best_times(plan))
                         : fmt::format(
                               "Flight over {}\n\nBest times: not known, because that flight does not tell "
                               "its place; give --lat-deg and --lon-deg.\n",
                               o.surface);
  if (!o.advice.empty()) {
    text += "\nFrom the flight in " + o.from + "\n";
    for (const std::string& each : o.advice) text += "  - " + each + "\n";
  }
  text +=
      fmt::format("\nCamera: {:g} mm lens, pixels of {:.2f} um, {} x {} px ({}), {:.0f} m up\n{}", o.focal_mm,
                  o.pixel_um, o.width_px, o.height_px, o.camera_from, o.height_m, shot_text(o, plan.shot));
  if (!plan.rows.empty()) text += "\n" + table_words(plan);
  text += "\nCautions\n";
  for (const std::string& caution : plan.cautions) text += "  - " + caution + "\n";
  return text;
}

std::string csv_of(const Plan& plan) {
  std::string text =
      "time,utc_offset_h,sun_elevation_deg,sun_azimuth_deg,glint,mirror_off_nadir_deg,turn_short_side_to_deg,"
      "tilt_deg,tilt_toward_deg,"
      "shadow_per_m,camera_shadow_m,gsd_m,footprint_width_m,footprint_height_m,forward_spacing_m,side_"
      "spacing_m,frames,smear_px,"
      "shutter_for_one_px_s,near_m,far_m\r\n";
  const auto cell = [](const std::optional<double>& value) {
    return value ? fmt::format("{:.3f}", *value) : std::string();
  };
  const Shot& s = plan.shot;
  for (const Row& row : plan.rows)
    text += fmt::format(
        "{},{:g},{:.3f},{:.3f},{},{:.3f},{},{},{},{:.4f},{},{:.6f},{:.3f},{:.3f},{:.3f},{:.3f},{},{:.3f},{:."
        "6g},{:.3f},{}\r\n",
        clock(row.minute_of_day), plan.options.utc_offset_h.value_or(0), row.sun.elevation_deg,
        row.sun.azimuth_deg, word(row.glint), row.mirror_off_nadir_deg, cell(row.turn_short_side_to_deg),
        cell(row.tilt_deg), cell(row.tilt_toward_deg), row.shadow_per_m, cell(row.camera_shadow_m),
        s.ground_sample_distance_m, s.footprint_width_m, s.footprint_height_m, s.forward_spacing_m,
        s.side_spacing_m, s.frames, s.smear_px, s.shutter_for_one_px_s, s.near_m, cell(s.far_m));
  return text;
}

}  // namespace lookdown::plan
