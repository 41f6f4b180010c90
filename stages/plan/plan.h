// plan: what the light and the lens will do to a flight, before it. Common rules: no pictures are read; every
// number follows from the options by a formula named beside it; times are local times of the given UTC
// offset, never guessed; a camera that looks straight down is assumed unless a row says how to tilt it. Bad
// options throw std::invalid_argument, in words for the user.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/geometry/sun_and_water.h"
#include "pipeline/record/flight_record.h"

namespace lookdown::plan {

struct Options {
  std::optional<double> lat_deg, lon_deg;  ///< place; required unless `from` is given
  std::string from;  ///< output folder of an earlier run whose findings stand in for defaults; empty: none
  std::string date;  ///< YYYY-MM-DD, local; required
  std::optional<double> utc_offset_h;  ///< of the local clock; empty: the table is in UTC and says so
  double step_min = 30;                ///< between the rows
  std::string surface = "water";       ///< what is looked at: "water" or "roof" (dry: no glint to avoid)
  double surface_height_m = 0;  ///< of the surface above the place from which height_m counts, e.g. a roof
  double height_m = 30;         ///< of the camera
  double focal_mm = 8.8;        ///< true focal length of the lens
  double pixel_um = 2.4;        ///< distance of the sensor's pixels
  int width_px = 5472, height_px = 3648;
  double f_number = 4;
  std::optional<double> focus_m;  ///< distance the lens is focused at; empty: on the surface
  double blur_circle_px = 2;      ///< what still counts as sharp, for the depth of field
  double shutter_s = 1.0 / 1000;
  double wind_m_s = 3;  ///< for the slope of the waves
  bool pond = true;     ///< short fetch: cap the slope of the waves
  double refractive_index = 1.333;
  double drift_m_s = 1;         ///< speed of the camera over ground
  double swing_deg = 4;         ///< amplitude of the camera's swing
  double swing_period_s = 2.5;  ///< time of one full swing
  double forward_overlap_percent = 60, side_overlap_percent = 30;
  double area_length_m = 100, area_width_m = 60;
  std::string camera_from = "an example; yours: --focal-mm, --pixel-um, --frame-width-px, --frame-height-px";
  std::vector<std::string> advice;  ///< of an earlier flight, see learn_from
};
void describe(Options&, OptionVisitor&);

/// Puts camera, place, height, shutter and smear of a flight in place of the defaults, as far as they are
/// known, and returns what it teaches for the next one, a sentence each. Throws std::invalid_argument when it
/// does not even tell the camera.
std::vector<std::string> learn_from(const FlightRecord&, Options&);

/// Where the sun's mirror image and the glitter round it fall.
enum class Glint {
  none,             ///< a dry surface, or the sun is down
  out_of_frame,     ///< whatever the heading
  glitter_at_edge,  ///< the mirror image is out, glitter from waves reaches in at some heading
  out_if_turned,    ///< out only with the short side of the frame along the sun's direction
  in_frame          ///< whatever the heading: tilt, wait, or go elsewhere
};
[[nodiscard]] const char* word(Glint);

/// One time of day.
struct Row {
  int minute_of_day = 0;
  lookdown::SunPosition sun;
  Glint glint = Glint::none;
  double mirror_off_nadir_deg = 0;  ///< angle between straight down and the mirror point: 90 - elevation
  std::optional<double>
      turn_short_side_to_deg;  ///< azimuth to lay the short side of the frame along, when turning helps
  std::optional<double> tilt_deg,
      tilt_toward_deg;          ///< smallest tilt that throws mirror image and glitter out, and its azimuth
  bool tilt_too_large = false;  ///< that tilt is above 20 degrees: wait for another time instead
  double shadow_per_m = 0;      ///< shadow on level ground of a thing 1 m high
  std::optional<double>
      camera_shadow_m;  ///< distance of the camera's own shadow from the point below it, on the surface
  double peak_glint =
      0;  ///< radiance of the mirrored sun at the frame's worst point, relative (glint_radiance)
};

/// What holds all day.
struct Shot {
  double range_m = 0;                   ///< camera to surface
  double ground_sample_distance_m = 0;  ///< H p / f
  double footprint_width_m = 0, footprint_height_m = 0;
  double field_width_deg = 0, field_height_deg = 0, field_diagonal_deg = 0;
  double forward_spacing_m = 0, side_spacing_m = 0;  ///< forward along the short side of the frame
  int frames_in_line = 0, lines = 0, frames = 0;
  double drift_smear_px = 0, swing_smear_px = 0,
         smear_px = 0;  ///< at shutter_s; the sum: both may point the same way
  double shutter_for_one_px_s = 0;
  double wave_mean_square_slope = 0;
  double glitter_half_width_deg =
      0;  ///< from the mirror image to where facets that mirror the sun are 1 % as frequent
  double clear_below_elevation_deg = 0;  ///< mirror image out of the frame whatever the heading
  double hyperfocal_m = 0, near_m = 0;
  std::optional<double> far_m;  ///< empty: to infinity
};

/// From one minute of the day to another.
struct Window {
  int from_minute = 0, to_minute = 0;
};

struct Plan {
  Options options;
  Shot shot;
  std::optional<Window> daylight;     ///< the sun is up; empty: it does not rise
  std::vector<Window> without_glint;  ///< no glint or glitter in the frame whatever its heading; water only
  std::vector<Window> if_turned;      ///< none with the short side of the frame along the sun's direction
  std::vector<Row> rows;              ///< while the sun is up
  std::vector<std::string> cautions;
};

/// v t f/(H p) + w t f/p: smear in pixels from a speed in m/s and a turning rate in rad/s.
[[nodiscard]] double drift_smear_px(double speed_m_s, double shutter_s, double focal_m, double range_m,
                                    double pixel_m);
[[nodiscard]] double swing_smear_px(double rate_rad_s, double shutter_s, double focal_m, double pixel_m);

/// Thin-lens depth of field for a circle of confusion, all in metres: hyperfocal f^2/(N c) + f, near s (h -
/// f)/(h + s - 2 f), far s (h - f)/(h - s) (e.g. Ray, Applied Photographic Optics).
struct DepthOfField {
  double hyperfocal_m = 0, near_m = 0;
  std::optional<double> far_m;
};
[[nodiscard]] DepthOfField depth_of_field(double focal_m, double f_number, double circle_m,
                                          double distance_m);

[[nodiscard]] Shot shot_of(const Options&);
/// With a place the light of the day too; without one, as an earlier flight may leave it, what lens and
/// motion do.
[[nodiscard]] Plan make_plan(const Options&);
[[nodiscard]] inline bool has_place(const Options& o) {
  return o.lat_deg && o.lon_deg;
}

[[nodiscard]] std::string text_of(const Plan&);  ///< for a terminal, at most 110 columns
[[nodiscard]] std::string csv_of(const Plan&);   ///< RFC 4180, one row a time
[[nodiscard]] std::string svg_of(
    const Plan&);  ///< sun elevation over the day with the glint-free times, SVG 1.1

}  // namespace lookdown::plan
