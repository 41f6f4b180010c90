// glare: where reflections hide the water. Common rules: only water-like areas can hold glare (white crust, gravel, roofs,
// foam are bright too and are not glare); masks are 8 bit, 255 = glare, size and orientation of the frame as stored.
#pragma once

#include <Eigen/Core>
#include <memory>
#include <optional>
#include <string>

#include "pipeline/flight_record.h"
#include "pipeline/frame_reader.h"
#include "pipeline/option_table.h"
#include "pipeline/run_context.h"

namespace lookdown::glare {

struct Options {
  std::optional<double> lat_deg, lon_deg;     ///< place, for the sun; Exif positions otherwise
  std::optional<double> utc_offset_h;         ///< of the camera's clock; Exif offset otherwise
  double clock_offset_s = 0;                  ///< to add to the camera's clock
  double refractive_index = 1.333;            ///< of the water; brine up to about 1.38
  std::optional<double> wind_m_s;             ///< empty: wave slope capped for small ponds
  bool write_masks = true;
};
void describe(Options&, OptionVisitor&);

inline constexpr const char* kFindVersion = "glare/1";

struct SunPosition {
  double elevation_deg = 0;
  double azimuth_deg = 0;  ///< clockwise from true north
};
/// Sun over the horizon at a place and a UTC time (seconds since 1970), by libnova; refraction included when asked.
SunPosition sun_position(double lat_deg, double lon_deg, double utc_s, bool refraction = true);

/// Masks of one frame and their shares.
struct Found {
  Glare glare;
  std::unique_ptr<cv::Mat> glare_mask;  ///< CV_8UC1, 0/255, size of the frame as stored
  std::unique_ptr<cv::Mat> water_mask;
  Found();
  Found(Found&&) noexcept;
  Found& operator=(Found&&) noexcept;
  ~Found();
};
/// Single-frame search. `tilt` and `sun` sharpen the prior when known.
Found find(FramePixels&, const FrameInfo&, const std::optional<Tilt>& tilt, const std::optional<SunPosition>& sun, const Options&);

/// After placement: the bottom stays, glare moves. Rewrites masks and shares where overlapping frames tell; adds a warning line
/// that says how the masks changed.
void refine_across_frames(FlightRecord&, const Options&, RunContext&);

}  // namespace lookdown::glare
