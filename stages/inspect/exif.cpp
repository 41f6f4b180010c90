#include "stages/inspect/exif.h"

#include <fmt/core.h>

#include <algorithm>
#include <cctype>
#include <chrono>
#include <cmath>
#include <exiv2/easyaccess.hpp>
#include <exiv2/exiv2.hpp>

#include "pipeline/imaging/metadata/exiv2_lock.h"

namespace lookdown::inspect {
namespace {

class Tags {
 public:
  explicit Tags(const Exiv2::ExifData& exif) : exif_(exif) {}

  [[nodiscard]] std::string text(const char* key) const {
    const auto found = exif_.findKey(Exiv2::ExifKey(key));
    if (found == exif_.end()) return {};
    std::string value = found->toString();
    value.erase(std::find(value.begin(), value.end(), '\0'), value.end());
    while (!value.empty() && value.back() == ' ') value.pop_back();
    return value;
  }
  /// A finite number of a rational or integer tag; nothing for 0/0 and the like.
  [[nodiscard]] std::optional<double> number(const char* key, long index = 0) const {
    const auto found = exif_.findKey(Exiv2::ExifKey(key));
    if (found == exif_.end() || found->count() <= index) return std::nullopt;
    const Exiv2::Rational ratio = found->toRational(index);
    if (ratio.second == 0) return std::nullopt;
    return static_cast<double>(ratio.first) / ratio.second;
  }
  /// The lens by Exif's own tag, else by what exiv2 makes of the maker's note.
  [[nodiscard]] std::string lens_name() const {
    std::string name = text("Exif.Photo.LensModel");
    if (!name.empty()) return is_a_name(name) ? name : "";
    const auto found = Exiv2::lensName(exif_);
    if (found == exif_.end()) return {};
    name = found->print(&exif_);
    return is_a_name(name) ? name : "";
  }
  [[nodiscard]] std::optional<double> positive(const char* key) const {
    const std::optional<double> value = number(key);
    return value && std::isfinite(*value) && *value > 0 ? value : std::nullopt;
  }

 private:
  // Makers fill in dashes or zeros, and exiv2 prints a bare or bracketed number for a lens that it does not
  // know.
  static bool is_a_name(const std::string& text) {
    return text.front() != '(' &&
           std::any_of(text.begin(), text.end(), [](unsigned char c) { return std::isalpha(c); }) &&
           text.find("nknown") == std::string::npos && text != "n/a" && text != "None";
  }

  const Exiv2::ExifData& exif_;
};

std::optional<double> utc_offset_hours(const std::string& offset) {
  int hours = 0, minutes = 0;
  char sign = 0;
  if (std::sscanf(offset.c_str(), "%c%2d:%2d", &sign, &hours, &minutes) != 3 || (sign != '+' && sign != '-'))
    return std::nullopt;
  if (hours > 14 || minutes > 59) return std::nullopt;
  return (sign == '-' ? -1 : 1) * (hours + minutes / 60.0);
}

// A receiver writes UTC beside the clock's time. Zones lie on quarters of an hour; a difference that does not
// is a clock set wrong or a position kept from before, and tells nothing.
std::optional<double> offset_from_receiver(const Tags& tags, const std::optional<double>& clock_s) {
  const std::string day = tags.text("Exif.GPSInfo.GPSDateStamp");
  const auto hour = tags.number("Exif.GPSInfo.GPSTimeStamp", 0),
             minute = tags.number("Exif.GPSInfo.GPSTimeStamp", 1),
             second = tags.number("Exif.GPSInfo.GPSTimeStamp", 2);
  if (!clock_s || !hour || !minute || !second) return std::nullopt;
  const auto midnight = iso_time(day + " 00:00:00", "", "");
  if (!midnight || *hour < 0 || *hour > 23 || *minute < 0 || *minute > 59 || *second < 0 || *second > 60)
    return std::nullopt;
  const double ahead_h =
      (*clock_s - *clock_seconds(*midnight)) / 3600 - *hour - *minute / 60 - *second / 3600;
  const double quarters = std::round(4 * ahead_h);
  constexpr double kLargestMissH = 2.0 / 60;
  if (std::abs(ahead_h - quarters / 4) > kLargestMissH || std::abs(ahead_h) > 14) return std::nullopt;
  return quarters / 4;
}

void read_time(const Tags& tags, FrameInfo& frame) {
  struct TimeTags {
    const char *time, *sub_second, *offset;
  };
  // Exif 2.32: when it was shot, when it was digitised, when the file was changed, each with its own fraction
  // and offset.
  for (const TimeTags& each :
       {TimeTags{"Exif.Photo.DateTimeOriginal", "Exif.Photo.SubSecTimeOriginal",
                 "Exif.Photo.OffsetTimeOriginal"},
        TimeTags{"Exif.Photo.DateTimeDigitized", "Exif.Photo.SubSecTimeDigitized",
                 "Exif.Photo.OffsetTimeDigitized"},
        TimeTags{"Exif.Image.DateTime", "Exif.Photo.SubSecTime", "Exif.Photo.OffsetTime"}}) {
    const std::string offset = tags.text(each.offset);
    const auto hours = utc_offset_hours(offset);
    frame.taken_at = iso_time(tags.text(each.time), tags.text(each.sub_second), hours ? offset : "");
    if (!frame.taken_at) continue;
    frame.utc_offset_h = hours;
    frame.taken_at_s = clock_seconds(*frame.taken_at);
    break;
  }
  // TIFF/EP (ISO 12234-2) has whole hours in a tag of its own.
  if (!frame.utc_offset_h)
    if (const auto hours = tags.number("Exif.Image.TimeZoneOffset"); hours && std::abs(*hours) <= 14)
      frame.utc_offset_h = hours;
  if (!frame.utc_offset_h) frame.utc_offset_h = offset_from_receiver(tags, frame.taken_at_s);
}

std::optional<double> degrees(const Tags& tags, const char* key, const std::string& reference,
                              char negative) {
  const auto whole = tags.number(key, 0);
  if (!whole || *whole < 0) return std::nullopt;
  const double value = *whole + tags.number(key, 1).value_or(0) / 60 + tags.number(key, 2).value_or(0) / 3600;
  return !reference.empty() && reference.front() == negative ? -value : value;
}

std::optional<double> altitude(const Tags& tags) {
  const auto height = tags.number("Exif.GPSInfo.GPSAltitude");
  // Above the highest mountains and below the lowest shores a lifted camera is not.
  if (!height || std::abs(*height) > 10'000) return std::nullopt;
  return tags.number("Exif.GPSInfo.GPSAltitudeRef").value_or(0) == 1 ? -*height : *height;
}

std::optional<double> direction(const Tags& tags) {
  const auto angle = tags.number("Exif.GPSInfo.GPSImgDirection");
  // Against magnetic north it says little about true north, which is what is asked for.
  if (!angle || *angle < 0 || *angle >= 360 || tags.text("Exif.GPSInfo.GPSImgDirectionRef") == "M")
    return std::nullopt;
  return angle;
}

std::optional<GeoPosition> read_position(const Tags& tags) {
  if (tags.text("Exif.GPSInfo.GPSStatus") == "V") return std::nullopt;  // the receiver calls it void
  const auto lat = degrees(tags, "Exif.GPSInfo.GPSLatitude", tags.text("Exif.GPSInfo.GPSLatitudeRef"), 'S');
  const auto lon = degrees(tags, "Exif.GPSInfo.GPSLongitude", tags.text("Exif.GPSInfo.GPSLongitudeRef"), 'W');
  if (!lat || !lon || std::abs(*lat) > 90 || std::abs(*lon) > 180) return std::nullopt;
  if (*lat == 0 && *lon == 0) return std::nullopt;  // what receivers write before they have a fix
  GeoPosition position{*lat, *lon, altitude(tags), direction(tags), 5};
  if (const auto error_m = tags.positive("Exif.GPSInfo.GPSHPositioningError")) position.sigma_m = *error_m;
  return position;
}

void read_focal_plane(const Tags& tags, ExifTags& found) {
  // Unit 2 = inch, 3 = centimetre (CIPA DC-008); some makers write 4 = millimetre.
  double units_per_mm = 1 / 25.4;
  switch (static_cast<int>(tags.number("Exif.Photo.FocalPlaneResolutionUnit").value_or(2))) {
    case 3:
      units_per_mm = 0.1;
      break;
    case 4:
      units_per_mm = 1;
      break;
    default:
      break;
  }
  if (const auto x = tags.positive("Exif.Photo.FocalPlaneXResolution"))
    found.focal_plane_x_px_per_mm = *x * units_per_mm;
  if (const auto y = tags.positive("Exif.Photo.FocalPlaneYResolution"))
    found.focal_plane_y_px_per_mm = *y * units_per_mm;
  found.pixel_x_dimension = static_cast<int>(tags.positive("Exif.Photo.PixelXDimension").value_or(0));
  found.pixel_y_dimension = static_cast<int>(tags.positive("Exif.Photo.PixelYDimension").value_or(0));
}

ExifTags interpret(const Tags& tags) {
  ExifTags found;
  const double orientation = tags.number("Exif.Image.Orientation").value_or(1);
  found.orientation = orientation >= 1 && orientation <= 8 ? static_cast<int>(orientation) : 1;
  found.frame.make = tags.text("Exif.Image.Make");
  found.frame.model = tags.text("Exif.Image.Model");
  found.frame.lens = tags.lens_name();
  found.frame.focal_length_mm = tags.positive("Exif.Photo.FocalLength");
  found.frame.focal_length_35mm = tags.positive("Exif.Photo.FocalLengthIn35mmFilm");
  found.frame.exposure_s = tags.positive("Exif.Photo.ExposureTime");
  found.frame.f_number = tags.positive("Exif.Photo.FNumber");
  found.frame.iso = tags.positive("Exif.Photo.ISOSpeedRatings");
  read_time(tags, found.frame);
  found.frame.position = read_position(tags);
  read_focal_plane(tags, found);
  return found;
}

}  // namespace

ExifTags read_exif(std::span<const std::uint8_t> file) {
  const auto lock = exiv2_lock();
  try {
    const auto picture = Exiv2::ImageFactory::open(file.data(), static_cast<long>(file.size()));
    picture->readMetadata();
    return interpret(Tags(picture->exifData()));
  } catch (const std::exception&) {
    return {};  // no Exif, or damaged beyond reading: nothing is known
  }
}

std::optional<std::string> iso_time(const std::string& exif_time, const std::string& sub_second,
                                    const std::string& offset) {
  int year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0;
  if (std::sscanf(exif_time.c_str(), "%4d%*1[:-]%2d%*1[:-]%2d%*1[ T]%2d:%2d:%2d", &year, &month, &day, &hour,
                  &minute, &second) != 6)
    return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year(year),
                                         std::chrono::month(static_cast<unsigned>(month)),
                                         std::chrono::day(static_cast<unsigned>(day))};
  if (year < 1900 || !date.ok() || hour > 23 || minute > 59 || second > 60) return std::nullopt;
  std::string text =
      fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", year, month, day, hour, minute, second);
  const bool digits = !sub_second.empty() && std::all_of(sub_second.begin(), sub_second.end(),
                                                         [](char c) { return c >= '0' && c <= '9'; });
  if (digits) text += "." + sub_second;
  return text + offset;
}

std::optional<double> clock_seconds(const std::string& iso) {
  int year = 0, month = 0, day = 0, hour = 0, minute = 0;
  double second = 0;
  if (std::sscanf(iso.c_str(), "%4d-%2d-%2dT%2d:%2d:%lf", &year, &month, &day, &hour, &minute, &second) != 6)
    return std::nullopt;
  const std::chrono::sys_days date =
      std::chrono::year_month_day{std::chrono::year(year), std::chrono::month(static_cast<unsigned>(month)),
                                  std::chrono::day(static_cast<unsigned>(day))};
  return std::chrono::duration<double>(date.time_since_epoch()).count() + hour * 3600.0 + minute * 60.0 +
         second;
}

}  // namespace lookdown::inspect
