// How the camera moves: the plan of a flight, frame by frame, before anything is rendered.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "camera/camera.h"
#include "light/backdrop.h"
#include "light/sky.h"
#include "site/site.h"

namespace render {

enum class FrameKind { nadir, oblique, horizon, launch };
const char* name_of(FrameKind kind);

enum class BlurKind { none, smear, defocus };

struct FrameBlur {
  BlurKind kind = BlurKind::none;
  double smear_px = 0, smear_deg = 0;  // length and direction (counter-clockwise, y up) at the frame centre
  double spin_px = 0;     // further smear at the frame corner, from rotation about the optical axis
  double radius_px = 0;   // of the defocus disc
  bool one_half = false;  // only the lower half is blurred

  // Standard deviation of the kernel at the centre: L / sqrt(12) along a smear, r / 2 for a disc.
  double sigma_px() const;
  // Motion of the picture point at `from_centre` during the exposure, x right, y down.
  Vec2 motion_at(Vec2 from_centre, double half_diagonal_px) const;
};

struct FramePlan {
  std::string file;
  FrameKind kind = FrameKind::nadir;
  Pose pose;
  double time_s = 0;
  double heading = 0, off_nadir = 0;  // radians
  int orientation = 1;
  double exposure_ev = 0;
  double metered_ev = 0;     // what the camera's meter adds
  double white_balance = 0;  // + warmer
  FrameBlur blur;
  int quality = 88;
  double iso = 200, f_number = 4;
  /// The shutter time that gives `exposure_ev` and `metered_ev` with the other two under the flight's sun: 0
  /// EV is 1/1250 s at ISO 200 and f/4.
  double exposure_s() const;
  std::string repeat_of;
  bool kite_line = false;
  // Horizon sets change the weather and the country from frame to frame.
  std::optional<Weather> weather;
  std::optional<Backdrop> backdrop;
  std::vector<Rod> rods;  // cables and masts in the way
  uint32_t seed = 0;
};

struct FlightOptions {
  uint32_t seed = 1;
  int count = 40;
  double swing_deg = 12, overlap = 0.62, blurred_share = 0.2, half_blurred_share = 0, exposure_steps = 0.35;
  double height_low_m = 22, height_high_m = 45;
  int obliques = 3, launch = 2;
  int quality_low = 75, quality_high = 95;  // JPEG quality, drawn for each frame
  bool portrait = true;
};

// A walked kite line over the site: uneven passes, bursts, obliques and launch frames.
std::vector<FramePlan> plan_flight(const Site& site, const Camera& camera, const FlightOptions& options);

// Forward-looking frames, each with the horizon inside and its own weather and country.
std::vector<FramePlan> plan_horizon_set(const Site& site, const Camera& camera, const FlightOptions& options);

// Ground that `options` frames cover with the wanted overlap.
double covered_area_m2(const Camera& camera, const FlightOptions& options);

}  // namespace render
