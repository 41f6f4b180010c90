// The one place where frames become pixels. Rules for every call: pixels come AS STORED (Exif orientation is
// recorded by inspect, never applied here); colours are brought to the working space sRGB, whatever profile
// the file carries; originals are opened read-only; a file that cannot be read is a Fault that names the file
// and what to do; the reader may be used from several threads.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "pipeline/base/result.h"
#include "pipeline/imaging/frame_source.h"

namespace cv {
class Mat;
}

namespace lookdown {

/// Part of every cache key: to be raised when the same file gives other pixels.
inline constexpr const char* kReaderVersion = "reader/2";

/// Limits against hostile files.
struct ReaderLimits {
  std::int64_t max_pixels = 400'000'000;        ///< a frame with more is refused before memory is taken
  std::int64_t max_file_bytes = 2'000'000'000;  ///< a larger file is refused
};

/// What the header tells, without decoding pixels.
struct FrameHeader {
  int width_px = 0;
  int height_px = 0;
  int bits = 8;
  int channels = 3;
  std::string format;
};

/// Size of one side after a reduced decode: ceil(length / reduction), as libjpeg-turbo scales.
[[nodiscard]] int reduced_length(int length_px, int reduction);

/// Position in the frame as stored of a position in a copy reduced by `reduction`, and back; pixel centres
/// are kept.
[[nodiscard]] double stored_from_reduced(double position_px, int reduction);
[[nodiscard]] double reduced_from_stored(double position_px, int reduction);

/// Where the pixels of a camera raw file come from. `quick`: the camera's own full-size JPEG inside, for
/// measuring; `developed`: the sensor's values with the camera's white balance, for what is shown. For other
/// files there is no difference.
enum class RawPixels { quick, developed };

/// True when the ending is one of a picture that the reader knows, in upper or lower case.
[[nodiscard]] bool has_picture_ending(const std::filesystem::path&);
/// True for an ending that cameras give to raw files.
[[nodiscard]] bool has_raw_ending(const std::filesystem::path&);

/// Reads JPEG, PNG and TIFF, 8 and 16 bit; HEIF and AVIF, and camera raw, where the program was built with
/// their libraries.
class FrameReader {
 public:
  explicit FrameReader(ReaderLimits limits = {}) : limits_(limits) {}

  [[nodiscard]] Result<FrameHeader> header(const std::filesystem::path&) const;
  /// 8-bit BGR (CV_8UC3), reduced by 1, 2, 4 or 8; JPEG files are decoded at the reduced size directly.
  /// A truncated file is a Fault.
  [[nodiscard]] Result<cv::Mat> bgr(const std::filesystem::path&, int reduction = 1,
                                    RawPixels = RawPixels::developed) const;
  /// 8-bit luminance (CV_8UC1), same reductions; for JPEG only the luminance is decoded, as coded, without
  /// regard to colour profiles.
  [[nodiscard]] Result<cv::Mat> grey(const std::filesystem::path&, int reduction = 1,
                                     RawPixels = RawPixels::developed) const;
  /// BGR in the file's own depth (CV_8UC3 or CV_16UC3), same reductions: what `bgr` makes eight bits of.
  [[nodiscard]] Result<cv::Mat> bgr_native(const std::filesystem::path&, int reduction = 1) const;
  /// The file's bytes.
  [[nodiscard]] Result<std::vector<std::uint8_t>> bytes(const std::filesystem::path&) const;

 private:
  [[nodiscard]] Result<cv::Mat> decode(const std::filesystem::path&, const FrameHeader&, bool grey,
                                       int reduction) const;

  ReaderLimits limits_;
};

/// One frame's pixels while a stage works on it: each size is decoded at most once and kept until the object
/// dies. Not for sharing between threads. A failed decode throws FrameFault (caught by the scheduler, becomes
/// the frame's fault).
class FramePixels {
 public:
  /// Reader and source must outlive the object.
  FramePixels(const FrameReader& reader, const FrameSource& source, RawPixels = RawPixels::developed);
  FramePixels(const FrameReader&, const FrameSource&&, RawPixels = RawPixels::developed) = delete;
  FramePixels(const FrameReader&&, const FrameSource&, RawPixels = RawPixels::developed) = delete;
  ~FramePixels();
  FramePixels(const FramePixels&) = delete;
  FramePixels& operator=(const FramePixels&) = delete;

  [[nodiscard]] const FrameSource& source() const { return source_; }
  /// CV_8UC3 at 1/reduction size (1, 2, 4, 8).
  const cv::Mat& bgr(int reduction = 1);
  /// CV_8UC1 at 1/reduction size.
  const cv::Mat& grey(int reduction = 1);
  /// The file's bytes, for work on the coded data itself.
  const std::vector<std::uint8_t>& bytes();
  /// The smallest reduction of 1, 2, 4, 8 whose long side is at most `long_side_px`, or 8.
  [[nodiscard]] int reduction_for(int long_side_px) const;

 private:
  const FrameReader& reader_;
  const FrameSource& source_;
  RawPixels raw_pixels_;
  std::map<int, std::unique_ptr<cv::Mat>> bgr_;
  std::map<int, std::unique_ptr<cv::Mat>> grey_;
  std::vector<std::uint8_t> bytes_;
};

}  // namespace lookdown
