#include "stages/plan/plan.h"

#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <stdexcept>

#include "pipeline/base/angles.h"

namespace lookdown::plan {
namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kLargestUsefulTiltDeg =
    20;  // beyond it scale and lean spoil a straight-down picture (judgement)

double half_angle_deg(double length_px, const Options& o) {
  return std::atan(0.5 * length_px * o.pixel_um * 1e-3 / o.focal_mm) / kDegree;
}

double midnight_utc_s(const Options& o) {
  int year = 0, month = 0, day = 0, used = 0;
  const bool parsed = std::sscanf(o.date.c_str(), "%4d-%2d-%2d%n", &year, &month, &day, &used) == 3;
  const std::chrono::year_month_day date{std::chrono::year{year},
                                         std::chrono::month{static_cast<unsigned>(month)},
                                         std::chrono::day{static_cast<unsigned>(day)}};
  if (!parsed || used != static_cast<int>(o.date.size()) || month < 1 || day < 1 || !date.ok())
    throw std::invalid_argument(fmt::format("--date: \"{}\" is no day; write it as 2025-06-21", o.date));
  const auto days = std::chrono::sys_days{date}.time_since_epoch().count();
  return 86400.0 * static_cast<double>(days) - 3600.0 * o.utc_offset_h.value_or(0);
}

// Largest glint radiance inside a straight-down frame at the heading that suits best: the mirror point
// clipped to the frame.
double worst_glint(const Options& o, const Shot& shot, const lookdown::SunPosition& sun) {
  const double off_nadir =
      std::min(90 - sun.elevation_deg, 0.5 * std::min(shot.field_width_deg, shot.field_height_deg)) * kDegree;
  const double azimuth = sun.azimuth_deg * kDegree;
  // The ray goes down toward the sun's azimuth; the viewer is back along it.
  const Eigen::Vector3d to_viewer(-std::sin(off_nadir) * std::sin(azimuth),
                                  -std::sin(off_nadir) * std::cos(azimuth), std::cos(off_nadir));
  return lookdown::glint_radiance(lookdown::sun_direction(sun), to_viewer, shot.wave_mean_square_slope,
                                  o.refractive_index);
}

void judge_glint(Row& row, const Options& o, const Shot& shot) {
  const double half_short = 0.5 * std::min(shot.field_width_deg, shot.field_height_deg);
  const double half_diagonal = 0.5 * shot.field_diagonal_deg;
  const double off_nadir = row.mirror_off_nadir_deg;
  if (o.surface != "water") return;
  row.peak_glint = worst_glint(o, shot, row.sun);
  if (off_nadir >= half_diagonal + shot.glitter_half_width_deg) {
    row.glint = Glint::out_of_frame;
    return;
  }
  row.glint = off_nadir >= half_diagonal ? Glint::glitter_at_edge
              : off_nadir > half_short   ? Glint::out_if_turned
                                         : Glint::in_frame;
  if (off_nadir > half_short) row.turn_short_side_to_deg = row.sun.azimuth_deg;
  const double needed = half_short + shot.glitter_half_width_deg - off_nadir;
  if (needed <= 0) return;
  row.tilt_deg = needed;
  row.tilt_toward_deg = std::fmod(row.sun.azimuth_deg + 180.0, 360.0);
  row.tilt_too_large = needed > kLargestUsefulTiltDeg;
}

std::vector<std::string> cautions_of(const Options& o) {
  std::vector<std::string> cautions = {
      ("Local rules decide whether and how high a kite, balloon, pole or drone may go up here: ask "
       "before you fly, and follow the licensed operator's word where one is required."),
      ("Keep far from power lines and their masts, more than the whole length of line that is out; "
       "never fly in or before a storm, and use no wet or metal line."),
      ("Nobody below the camera or the line; wear gloves, keep a safety lanyard on the camera, and "
       "look out for aircraft: bring everything down when one comes near."),
      "Mind people's privacy and resting or nesting wildlife.",
      "Stay back from pond edges while looking up; lined ponds are steep and slippery."};
  if (o.wind_m_s > 11)
    cautions.insert(cautions.begin(),
                    fmt::format("{:.0f} m/s is a strong breeze: too much for most single-line kites, and the "
                                "line can pull a person over. Wait for less wind.",
                                o.wind_m_s));
  return cautions;
}

}  // namespace

const char* word(Glint glint) {
  switch (glint) {
    case Glint::none:
      return "none";
    case Glint::out_of_frame:
      return "out of frame";
    case Glint::glitter_at_edge:
      return "glitter at edge";
    case Glint::out_if_turned:
      return "out if turned";
    case Glint::in_frame:
      return "in frame";
  }
  return "none";
}

double drift_smear_px(double speed_m_s, double shutter_s, double focal_m, double range_m, double pixel_m) {
  return speed_m_s * shutter_s * focal_m / (range_m * pixel_m);
}

double swing_smear_px(double rate_rad_s, double shutter_s, double focal_m, double pixel_m) {
  return rate_rad_s * shutter_s * focal_m / pixel_m;
}

DepthOfField depth_of_field(double focal_m, double f_number, double circle_m, double distance_m) {
  DepthOfField depth;
  depth.hyperfocal_m = focal_m * focal_m / (f_number * circle_m) + focal_m;
  const double beyond = depth.hyperfocal_m - focal_m;
  depth.near_m = distance_m * beyond / (depth.hyperfocal_m + distance_m - 2 * focal_m);
  if (distance_m < depth.hyperfocal_m) depth.far_m = distance_m * beyond / (depth.hyperfocal_m - distance_m);
  return depth;
}

Shot shot_of(const Options& o) {
  Shot shot;
  shot.range_m = o.height_m - o.surface_height_m;
  if (shot.range_m <= 0)
    throw std::invalid_argument(
        "--camera-height-m: the camera must be above what it looks at; raise it or lower --subject-height-m");
  const double focal_m = o.focal_mm * 1e-3, pixel_m = o.pixel_um * 1e-6;
  shot.ground_sample_distance_m = shot.range_m * pixel_m / focal_m;
  shot.footprint_width_m = o.width_px * shot.ground_sample_distance_m;
  shot.footprint_height_m = o.height_px * shot.ground_sample_distance_m;
  shot.field_width_deg = 2 * half_angle_deg(o.width_px, o);
  shot.field_height_deg = 2 * half_angle_deg(o.height_px, o);
  shot.field_diagonal_deg = 2 * half_angle_deg(std::hypot(o.width_px, o.height_px), o);

  const double along = std::min(shot.footprint_width_m, shot.footprint_height_m);
  const double across = std::max(shot.footprint_width_m, shot.footprint_height_m);
  shot.forward_spacing_m = along * (1 - o.forward_overlap_percent / 100);
  shot.side_spacing_m = across * (1 - o.side_overlap_percent / 100);
  // Fence posts, not gaps: the first and the last frame stand on the area's edges as far as they must.
  const auto posts = [](double length, double seen, double spacing) {
    return 1 + static_cast<int>(std::ceil(std::max(0.0, length - seen) / spacing - 1e-9));
  };
  shot.frames_in_line = posts(o.area_length_m, along, shot.forward_spacing_m);
  shot.lines = posts(o.area_width_m, across, shot.side_spacing_m);
  shot.frames = shot.frames_in_line * shot.lines;

  // A swing of amplitude a and period T passes the middle at 2 pi a / T.
  const double rate_rad_s = 2 * kPi * (o.swing_deg * kDegree) / o.swing_period_s;
  shot.drift_smear_px = drift_smear_px(o.drift_m_s, o.shutter_s, focal_m, shot.range_m, pixel_m);
  shot.swing_smear_px = swing_smear_px(rate_rad_s, o.shutter_s, focal_m, pixel_m);
  shot.smear_px = shot.drift_smear_px + shot.swing_smear_px;
  shot.shutter_for_one_px_s = shot.smear_px > 0 ? o.shutter_s / shot.smear_px : INFINITY;

  shot.wave_mean_square_slope =
      o.pond ? lookdown::mean_square_slope_of_pond(o.wind_m_s) : lookdown::mean_square_slope(o.wind_m_s);
  // A facet that leans by b turns the reflected ray by 2 b; exp(-tan^2 b / s2) = 0.01.
  shot.glitter_half_width_deg =
      2 * std::atan(std::sqrt(shot.wave_mean_square_slope * std::log(100.0))) / kDegree;
  shot.clear_below_elevation_deg =
      lookdown::elevation_without_mirror_deg(o.width_px, o.height_px, o.focal_mm * 1e3 / o.pixel_um);

  const DepthOfField depth =
      depth_of_field(focal_m, o.f_number, o.blur_circle_px * pixel_m, o.focus_m.value_or(shot.range_m));
  shot.hyperfocal_m = depth.hyperfocal_m;
  shot.near_m = depth.near_m;
  shot.far_m = depth.far_m;
  return shot;
}

namespace {

// Finer than the table, so that a window's ends are not the table's steps.
constexpr int kWindowStepMin = 5;
// Lower, the light is poor and shadows are more than eleven times as long as things are high (judgement).
constexpr double kLowestUsefulSunDeg = 5;

Row row_at(int minute_of_day, double midnight_utc, const Options& o, const Shot& shot) {
  Row row;
  row.minute_of_day = minute_of_day;
  row.sun = lookdown::sun_position(*o.lat_deg, *o.lon_deg, midnight_utc + minute_of_day * 60.0);
  if (row.sun.elevation_deg <= 0) return row;
  row.mirror_off_nadir_deg = 90 - row.sun.elevation_deg;
  row.shadow_per_m = 1 / std::tan(row.sun.elevation_deg * kDegree);
  row.camera_shadow_m = shot.range_m * row.shadow_per_m;
  judge_glint(row, o, shot);
  return row;
}

void extend(std::vector<Window>& windows, int minute) {
  if (windows.empty() || windows.back().to_minute < minute - kWindowStepMin)
    windows.push_back({minute, minute});
  else
    windows.back().to_minute = minute;
}

// A single step is no time to fly in.
void drop_instants(std::vector<Window>& windows) {
  std::erase_if(windows, [](const Window& window) { return window.from_minute == window.to_minute; });
}

void find_windows(Plan& plan, double midnight) {
  const Options& o = plan.options;
  std::vector<Window> up;
  for (int minute = 0; minute < 24 * 60; minute += kWindowStepMin) {
    const Row row = row_at(minute, midnight, o, plan.shot);
    if (row.sun.elevation_deg <= 0) continue;
    extend(up, minute);
    if (o.surface != "water" || row.sun.elevation_deg < kLowestUsefulSunDeg) continue;
    if (row.glint == Glint::out_of_frame) extend(plan.without_glint, minute);
    const bool helps = row.glint == Glint::out_if_turned || row.glint == Glint::glitter_at_edge;
    if (helps && !row.tilt_too_large) extend(plan.if_turned, minute);
  }
  if (!up.empty()) plan.daylight = Window{up.front().from_minute, up.back().to_minute};
  drop_instants(plan.without_glint);
  drop_instants(plan.if_turned);
}

}  // namespace

Plan make_plan(const Options& o) {
  if (o.lat_deg.has_value() != o.lon_deg.has_value())
    throw std::invalid_argument("--lat-deg and --lon-deg belong together; give both");
  if (!has_place(o) && o.from.empty())
    throw std::invalid_argument(
        "--lat-deg and --lon-deg: the place decides where the sun stands; give both, or --from OUT of an "
        "earlier run");
  const double midnight = midnight_utc_s(o);
  Plan plan;
  plan.options = o;
  plan.shot = shot_of(o);
  plan.cautions = cautions_of(o);
  if (!has_place(o)) return plan;
  for (double minute = 0; minute < 24 * 60; minute += o.step_min) {
    const Row row = row_at(static_cast<int>(std::lround(minute)), midnight, o, plan.shot);
    if (row.sun.elevation_deg > 0) plan.rows.push_back(row);
  }
  find_windows(plan, midnight);
  return plan;
}

}  // namespace lookdown::plan
