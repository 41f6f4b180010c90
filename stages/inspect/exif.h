// What Exif says about a frame. Absurd values (focal length 0, year 0000, denominators 0, position 0,0) count
// as not known.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown::inspect {

/// The tags that the program uses, as found; CIPA DC-008 (Exif 2.32) gives their meaning.
struct ExifTags {
  int orientation = 1;
  FrameInfo frame;  ///< everything but camera and camera_id
  std::optional<double> focal_plane_x_px_per_mm, focal_plane_y_px_per_mm;
  int pixel_x_dimension =
      0;  ///< size of the picture when it was shot; differs from the stored size after resizing
  int pixel_y_dimension = 0;
};

/// Reads Exif from a whole picture file in memory: JPEG, PNG, TIFF, HEIF, AVIF or camera raw. A file without
/// Exif, or with damaged Exif, gives defaults.
ExifTags read_exif(std::span<const std::uint8_t> file);

/// "2025:05:14 10:31:02" + "25" + "+02:00" -> "2025-05-14T10:31:02.25+02:00"; nothing for absurd dates.
std::optional<std::string> iso_time(const std::string& exif_time, const std::string& sub_second,
                                    const std::string& offset);

/// Seconds since 1970-01-01 00:00 of the clock that wrote an ISO time (its offset is not applied).
std::optional<double> clock_seconds(const std::string& iso);

}  // namespace lookdown::inspect
