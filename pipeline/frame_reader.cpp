#include "pipeline/frame_reader.h"

#include <fmt/core.h>

#include <cmath>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <span>
#include <system_error>

#include "pipeline/jpeg_decode.h"
#include "pipeline/raster_decode.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using Bytes = std::vector<std::uint8_t>;

Fault fault(const fs::path& path, std::string detail, std::string hint) {
  return {"inspect", path.filename().string(), std::move(detail), std::move(hint)};
}

// A header is near the start: enough bytes for a large Exif block with preview in front of the frame header.
constexpr std::int64_t kHeaderBytes = 1 << 20;

Result<Bytes> read_bytes(const fs::path& path, std::int64_t most_bytes, std::int64_t refuse_above) {
  std::error_code error;
  const fs::file_status status = fs::status(path, error);
  if (!fs::exists(status)) return fault(path, "cannot be found", "check the name and whether the card is still there");
  if (error || !fs::status_known(status)) return fault(path, "cannot be read: " + error.message(), "check its permissions and links");
  // A named pipe would block for ever, a device has no end.
  if (!fs::is_regular_file(status)) return fault(path, "is no ordinary file", "leave it out");
  const auto size = static_cast<std::int64_t>(fs::file_size(path, error));
  if (error) return fault(path, "cannot be read: " + error.message(), "check its permissions");
  if (size == 0) return fault(path, "is empty (0 bytes)", "copy it again from the card");
  if (size > refuse_above)
    return fault(path, fmt::format("has {} bytes, more than the limit of {}", size, refuse_above), "leave it out or raise the limit");
  std::ifstream file(path, std::ios::binary);
  Bytes bytes(static_cast<std::size_t>(std::min(size, most_bytes)));
  if (!file || !file.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(bytes.size())))
    return fault(path, "cannot be read", "check its permissions and the card");
  return bytes;
}

cv::Mat reduced(const cv::Mat& full, int reduction) {
  if (reduction == 1) return full;
  cv::Mat small;
  cv::resize(full, small, cv::Size(reduced_length(full.cols, reduction), reduced_length(full.rows, reduction)), 0, 0, cv::INTER_AREA);
  return small;
}

cv::Mat eight_bit(const cv::Mat& image) {
  if (image.depth() == CV_8U) return image;
  cv::Mat eight;
  image.convertTo(eight, CV_8U, 1.0 / 257.0);  // 65535 -> 255
  return eight;
}

}  // namespace

int reduced_length(int length_px, int reduction) { return (length_px + reduction - 1) / reduction; }

double stored_from_reduced(double position_px, int reduction) { return (position_px + 0.5) * reduction - 0.5; }

double reduced_from_stored(double position_px, int reduction) { return (position_px + 0.5) / reduction - 0.5; }

Result<FrameHeader> FrameReader::header(const fs::path& path) const {
  const Result<Bytes> start = read_bytes(path, kHeaderBytes, limits_.max_file_bytes);
  if (!start) return start.error();
  Result<FrameHeader> header = is_jpeg(*start) ? jpeg_header(*start, path.filename().string()) : raster_header(path);
  if (!header) return header;
  const std::int64_t pixels = std::int64_t{header->width_px} * header->height_px;
  if (pixels > limits_.max_pixels)
    return fault(path, fmt::format("has {} x {} pixels, more than the limit of {} million", header->width_px, header->height_px,
                                   limits_.max_pixels / 1'000'000),
                 "leave it out or raise the limit");
  return header;
}

Result<cv::Mat> FrameReader::bgr(const fs::path& path, int reduction) const {
  if (const Result<FrameHeader> checked = header(path); !checked) return checked.error();
  const Result<Bytes> file = bytes(path);
  if (!file) return file.error();
  if (is_jpeg(*file)) return decode_jpeg(*file, false, reduction, path.filename().string());
  const Result<cv::Mat> full = decode_raster(path);
  if (!full) return full;
  return reduced(eight_bit(*full), reduction);
}

Result<cv::Mat> FrameReader::grey(const fs::path& path, int reduction) const {
  if (const Result<FrameHeader> checked = header(path); !checked) return checked.error();
  const Result<Bytes> file = bytes(path);
  if (!file) return file.error();
  if (is_jpeg(*file)) return decode_jpeg(*file, true, reduction, path.filename().string());
  const Result<cv::Mat> full = decode_raster(path);
  if (!full) return full;
  cv::Mat luminance;
  cv::cvtColor(eight_bit(*full), luminance, cv::COLOR_BGR2GRAY);
  return reduced(luminance, reduction);
}

Result<cv::Mat> FrameReader::bgr_native(const fs::path& path) const {
  if (const Result<FrameHeader> checked = header(path); !checked) return checked.error();
  const Result<Bytes> file = bytes(path);
  if (!file) return file.error();
  if (is_jpeg(*file)) return decode_jpeg(*file, false, 1, path.filename().string());
  return decode_raster(path);
}

Result<Bytes> FrameReader::bytes(const fs::path& path) const {
  return read_bytes(path, limits_.max_file_bytes, limits_.max_file_bytes);
}

}  // namespace lookdown
