#include "pipeline/imaging/frame_reader.h"

#include <fmt/core.h>

#include <cmath>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <span>
#include <system_error>

#include "pipeline/imaging/formats/heif_decode.h"
#include "pipeline/imaging/formats/jpeg_decode.h"
#include "pipeline/imaging/formats/raster_decode.h"
#include "pipeline/imaging/formats/raw_decode.h"
#include "pipeline/imaging/formats/reading_fault.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using Bytes = std::vector<std::uint8_t>;

// A header is near the start: enough bytes for a large Exif block with preview in front of the frame header.
constexpr std::int64_t kHeaderBytes = 1 << 20;

Result<Bytes> read_bytes(const fs::path& path, std::int64_t most_bytes, std::int64_t refuse_above) {
  std::error_code error;
  const fs::file_status status = fs::status(path, error);
  if (!fs::exists(status))
    return reading_fault(path, "cannot be found", "check the name and whether the card is still there");
  if (error || !fs::status_known(status))
    return reading_fault(path, "cannot be read: " + error.message(), "check its permissions and links");
  // A named pipe would block for ever, a device has no end.
  if (!fs::is_regular_file(status)) return reading_fault(path, "is no ordinary file", "leave it out");
  const auto size = static_cast<std::int64_t>(fs::file_size(path, error));
  if (error) return reading_fault(path, "cannot be read: " + error.message(), "check its permissions");
  if (size == 0) return reading_fault(path, "is empty (0 bytes)");
  if (size > refuse_above)
    return reading_fault(path, fmt::format("has {} bytes, more than the limit of {}", size, refuse_above),
                         "leave it out or raise the limit");
  std::ifstream file(path, std::ios::binary);
  Bytes bytes(static_cast<std::size_t>(std::min(size, most_bytes)));
  if (!file || !file.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(bytes.size())))
    return reading_fault(path, "cannot be read", "check its permissions and the card");
  return bytes;
}

cv::Mat reduced(const cv::Mat& decoded, const FrameHeader& head, int reduction) {
  const cv::Size size(reduced_length(head.width_px, reduction), reduced_length(head.height_px, reduction));
  if (decoded.size() == size) return decoded;
  cv::Mat small;
  cv::resize(decoded, small, size, 0, 0, cv::INTER_AREA);
  return small;
}

cv::Mat eight_bit(const cv::Mat& image) {
  if (image.depth() == CV_8U) return image;
  cv::Mat eight;
  image.convertTo(eight, CV_8U, 1.0 / 257.0);  // 65535 -> 255
  return eight;
}

enum class Kind { jpeg, heif, raw, raster };

// Content decides, but most raw files begin as a TIFF does and only their ending tells.
Kind kind_of(const Bytes& start, const fs::path& path) {
  if (is_jpeg(start)) return Kind::jpeg;
  if (is_heif(start)) return Kind::heif;
  return has_raw_ending(path) ? Kind::raw : Kind::raster;
}

}  // namespace

int reduced_length(int length_px, int reduction) {
  return (length_px + reduction - 1) / reduction;
}

double stored_from_reduced(double position_px, int reduction) {
  return (position_px + 0.5) * reduction - 0.5;
}

double reduced_from_stored(double position_px, int reduction) {
  return (position_px + 0.5) / reduction - 0.5;
}

Result<FrameHeader> FrameReader::header(const fs::path& path) const {
  const Result<Bytes> start = read_bytes(path, kHeaderBytes, limits_.max_file_bytes);
  if (!start) return start.error();
  const std::string file = path.filename().string();
  const auto read = [&]() -> Result<FrameHeader> {
    switch (kind_of(*start, path)) {
      case Kind::jpeg:
        return jpeg_header(*start, file);
      case Kind::raw:
        return raw_header(path);
      case Kind::raster:
        return raster_header(path);
      case Kind::heif:
        break;
    }
    // The boxes that tell the size may stand at the end of the file.
    const Result<Bytes> whole = bytes(path);
    return whole ? heif_header(*whole, file) : Result<FrameHeader>(whole.error());
  };
  Result<FrameHeader> header = read();
  if (!header) return header;
  const std::int64_t pixels = std::int64_t{header->width_px} * header->height_px;
  if (pixels > limits_.max_pixels)
    return reading_fault(path,
                         fmt::format("has {} x {} pixels, more than the limit of {} million",
                                     header->width_px, header->height_px, limits_.max_pixels / 1'000'000),
                         "leave it out or raise the limit");
  return header;
}

Result<cv::Mat> FrameReader::bgr(const fs::path& path, int reduction, RawPixels raw_pixels) const {
  const Result<FrameHeader> head = header(path);
  if (!head) return head.error();
  if (head->format == "RAW" && raw_pixels == RawPixels::quick) return raw_preview(path, false, reduction);
  const Result<cv::Mat> native = decode(path, *head, false, reduction);
  if (!native) return native;
  return reduced(eight_bit(*native), *head, reduction);
}

Result<cv::Mat> FrameReader::grey(const fs::path& path, int reduction, RawPixels raw_pixels) const {
  const Result<FrameHeader> head = header(path);
  if (!head) return head.error();
  if (head->format == "RAW" && raw_pixels == RawPixels::quick) return raw_preview(path, true, reduction);
  const Result<cv::Mat> native = decode(path, *head, true, reduction);
  if (!native) return native;
  cv::Mat luminance = eight_bit(*native);
  if (luminance.channels() == 3) cv::cvtColor(luminance, luminance, cv::COLOR_BGR2GRAY);
  return reduced(luminance, *head, reduction);
}

Result<cv::Mat> FrameReader::bgr_native(const fs::path& path, int reduction) const {
  const Result<FrameHeader> head = header(path);
  if (!head) return head.error();
  const Result<cv::Mat> native = decode(path, *head, false, reduction);
  if (!native) return native;
  return reduced(*native, *head, reduction);
}

// Pixels in the file's own depth, reduced where the format offers that while decoding.
Result<cv::Mat> FrameReader::decode(const fs::path& path, const FrameHeader& head, bool grey,
                                    int reduction) const {
  if (head.format == "RAW") return develop_raw(path, reduction);
  if (head.format == "PNG" || head.format == "TIFF") return decode_raster(path);
  const Result<Bytes> file = bytes(path);
  if (!file) return file.error();
  if (head.format == "JPEG") return decode_jpeg(*file, grey, reduction, path.filename().string());
  return decode_heif(*file, path.filename().string());
}

Result<Bytes> FrameReader::bytes(const fs::path& path) const {
  return read_bytes(path, limits_.max_file_bytes, limits_.max_file_bytes);
}

}  // namespace lookdown
