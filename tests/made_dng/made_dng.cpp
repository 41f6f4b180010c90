#include "made_dng/made_dng.h"

#include <cmath>
#include <cstdint>
#include <fstream>
#include <map>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <vector>

namespace lookdown {
namespace {

using Bytes = std::vector<std::uint8_t>;

void append(Bytes& bytes, std::uint64_t value, int length) {
  for (int i = 0; i < length; ++i)
    bytes.push_back(static_cast<std::uint8_t>(value >> (8 * i)));  // little endian
}

// TIFF 6.0, section 2: field types.
enum Type : std::uint16_t {
  kByte = 1,
  kAscii = 2,
  kShort = 3,
  kLong = 4,
  kRational = 5,
  kSignedRational = 10
};

struct Field {
  Type type;
  std::uint32_t count;
  Bytes value;
};

Field numbers(Type type, const std::vector<std::uint32_t>& values) {
  Field field{type, static_cast<std::uint32_t>(values.size()), {}};
  for (const std::uint32_t value : values)
    append(field.value, value, type == kByte ? 1 : type == kShort ? 2 : 4);
  return field;
}

Field text(const std::string& words) {
  Field field{kAscii, static_cast<std::uint32_t>(words.size() + 1), {words.begin(), words.end()}};
  field.value.push_back(0);
  return field;
}

Field ratios(Type type, const std::vector<double>& values) {
  Field field{type, static_cast<std::uint32_t>(values.size()), {}};
  for (const double value : values) {
    append(field.value, static_cast<std::uint32_t>(static_cast<std::int32_t>(std::lround(value * 1e6))), 4);
    append(field.value, 1'000'000, 4);
  }
  return field;
}

using Directory = std::map<std::uint16_t, Field>;

std::uint32_t put(Bytes& file, const Bytes& bytes) {
  if (file.size() % 2) file.push_back(0);
  const auto where = static_cast<std::uint32_t>(file.size());
  file.insert(file.end(), bytes.begin(), bytes.end());
  return where;
}

// Fields first, then what is too long for them; returns where the directory begins.
std::uint32_t put(Bytes& file, const Directory& directory) {
  Bytes entries;
  append(entries, directory.size(), 2);
  for (const auto& [tag, field] : directory) {
    append(entries, tag, 2);
    append(entries, field.type, 2);
    append(entries, field.count, 4);
    Bytes value = field.value;
    if (value.size() > 4) {
      const std::uint32_t where = put(file, value);
      value.clear();
      append(value, where, 4);
    }
    value.resize(4);
    entries.insert(entries.end(), value.begin(), value.end());
  }
  append(entries, 0, 4);
  return put(file, entries);
}

cv::Size sensor_size(const MadeDng& made) {
  return {made.linear_bgr.cols + 2 * made.masked_columns, made.linear_bgr.rows + 2 * made.masked_rows};
}

/// Place in the pattern, which begins at the first pixel that light falls on.
std::size_t place_in_pattern(int row, int column) {
  return 2 * static_cast<std::size_t>(row & 1) + static_cast<std::size_t>(column & 1);
}

Bytes sensor_values(const MadeDng& made) {
  Bytes strip;
  const cv::Size size = sensor_size(made);
  const cv::Rect lit({}, made.linear_bgr.size());
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      const int row = y - made.masked_rows, column = x - made.masked_columns;
      const std::size_t place = place_in_pattern(row, column);
      const std::size_t colour = std::string("RGB").find(made.pattern[place]);
      const int black = made.black[place];
      const double light = lit.contains({column, row})
                               ? made.linear_bgr.at<cv::Vec3d>(row, column)[2 - static_cast<int>(colour)] *
                                     made.neutral[colour]
                               : 0;
      append(strip, static_cast<std::uint64_t>(std::lround(black + light * (made.white - black))), 2);
    }
  return strip;
}

std::uint32_t of(int number) {
  return static_cast<std::uint32_t>(number);
}

// Digital Negative Specification 1.4, chapter 4: CFAPattern, BlackLevel and ActiveArea; the pattern and the
// black levels begin at the first pixel of the active area.
Directory raw_directory(const MadeDng& made, std::uint32_t strip, std::uint32_t strip_bytes) {
  const cv::Size size = sensor_size(made);
  std::vector<std::uint32_t> pattern, black;
  for (std::size_t place = 0; place < 4; ++place) {
    pattern.push_back(static_cast<std::uint32_t>(std::string("RGB").find(made.pattern[place])));
    black.push_back(of(made.black[place]));
  }
  return {
      {254, numbers(kLong, {0})},
      {256, numbers(kLong, {of(size.width)})},
      {257, numbers(kLong, {of(size.height)})},
      {258, numbers(kShort, {16})},
      {259, numbers(kShort, {1})},
      {262, numbers(kShort, {32803})},
      {273, numbers(kLong, {strip})},
      {277, numbers(kShort, {1})},
      {278, numbers(kLong, {of(size.height)})},
      {279, numbers(kLong, {strip_bytes})},
      {33421, numbers(kShort, {2, 2})},
      {33422, numbers(kByte, pattern)},
      {50713, numbers(kShort, {2, 2})},
      {50714, numbers(kShort, black)},
      {50717, numbers(kLong, {of(made.white)})},
      {50829, numbers(kLong, {of(made.masked_rows), of(made.masked_columns),
                              of(size.height - made.masked_rows), of(size.width - made.masked_columns)})}};
}

// XYZ to linear sRGB (IEC 61966-2-1), which makes the camera's primaries those of sRGB.
const std::vector<double> kCameraFromXyz{3.2406, -1.5372, -0.4986, -0.9689, 1.8758,
                                         0.0415, 0.0557,  -0.2040, 1.0570};

void add_camera(Directory& first, const MadeDng& made, std::uint32_t exif) {
  first.insert({{271, text("Made Here")},
                {272, text("Test Raw")},
                {274, numbers(kShort, {static_cast<std::uint32_t>(made.orientation)})},
                {34665, numbers(kLong, {exif})},
                {50706, numbers(kByte, {1, 4, 0, 0})},
                {50707, numbers(kByte, {1, 1, 0, 0})},
                {50708, text("Made Here Test Raw")},
                {50721, ratios(kSignedRational, kCameraFromXyz)},
                {50728, ratios(kRational, {made.neutral.begin(), made.neutral.end()})},
                {50778, numbers(kShort, {21})}});
}

}  // namespace

void write_dng(const std::filesystem::path& file, const MadeDng& made) {
  Bytes bytes{'I', 'I', 42, 0, 0, 0, 0, 0};
  const Bytes sensor = sensor_values(made);
  const std::uint32_t strip = put(bytes, sensor);
  const std::uint32_t exif =
      put(bytes, Directory{{33434, ratios(kRational, {made.exposure_s})},
                           {33437, ratios(kRational, {made.f_number})},
                           {34855, numbers(kShort, {of(static_cast<int>(std::lround(made.iso)))})},
                           {36867, text(made.taken_at)},
                           {37386, ratios(kRational, {made.focal_mm})},
                           {41989, numbers(kShort, {of(static_cast<int>(std::lround(made.focal_35mm)))})}});
  const Directory raw = raw_directory(made, strip, static_cast<std::uint32_t>(sensor.size()));
  Directory first = raw;
  if (!made.preview_bgr.empty()) {
    Bytes jpeg;
    cv::imencode(".jpg", made.preview_bgr, jpeg, {cv::IMWRITE_JPEG_QUALITY, 95});
    const std::uint32_t picture = put(bytes, jpeg);
    const std::uint32_t raw_below = put(bytes, raw);
    const auto height = static_cast<std::uint32_t>(made.preview_bgr.rows);
    first = {{254, numbers(kLong, {1})},
             {256, numbers(kLong, {static_cast<std::uint32_t>(made.preview_bgr.cols)})},
             {257, numbers(kLong, {height})},
             {258, numbers(kShort, {8, 8, 8})},
             {259, numbers(kShort, {7})},
             {262, numbers(kShort, {6})},
             {273, numbers(kLong, {picture})},
             {277, numbers(kShort, {3})},
             {278, numbers(kLong, {height})},
             {279, numbers(kLong, {static_cast<std::uint32_t>(jpeg.size())})},
             {330, numbers(kLong, {raw_below})}};
  }
  add_camera(first, made, exif);
  const std::uint32_t directory = put(bytes, first);
  for (std::size_t i = 0; i < 4; ++i) bytes[4 + i] = static_cast<std::uint8_t>(directory >> (8 * i));
  std::ofstream(file, std::ios::binary)
      .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

}  // namespace lookdown
