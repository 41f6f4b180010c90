#include "pipeline/imaging/formats/raw_decode.h"

#include <fmt/core.h>
#include <libraw.h>

#include <cmath>
#include <memory>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <span>
#include <vector>

#include "pipeline/imaging/colour/srgb.h"
#include "pipeline/imaging/formats/jpeg_decode.h"
#include "pipeline/imaging/formats/reading_fault.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;

struct OpenedRaw {
  std::unique_ptr<LibRaw> raw;
  cv::Size developed;                 ///< before the cut
  cv::Rect frame;                     ///< the frame as stored within it
  std::vector<std::uint8_t> preview;  ///< the camera's JPEG of the frame's size; empty: none
};

// The camera's JPEG leaves out a rim of some pixels around; more than this is a picture of another size.
constexpr double kLeastShare = 0.97;

// An even offset keeps the pattern of the sensor's colours where it is in half-size pictures.
int centred(int outer, int inner) {
  return (outer - inner) / 2 / 2 * 2;
}

void find_preview(OpenedRaw& opened, const fs::path& path) {
  if (opened.raw->unpack_thumb() != LIBRAW_SUCCESS) return;
  const auto& thumbnail = opened.raw->imgdata.thumbnail;
  if (thumbnail.tformat != LIBRAW_THUMBNAIL_JPEG || !thumbnail.thumb) return;
  const auto* bytes = reinterpret_cast<const std::uint8_t*>(thumbnail.thumb);
  const std::span<const std::uint8_t> jpeg(bytes, thumbnail.tlength);
  const Result<FrameHeader> header = jpeg_header(jpeg, path.filename().string());
  if (!header) return;
  const cv::Size size(header->width_px, header->height_px), whole = opened.developed;
  if (size.width > whole.width || size.height > whole.height) return;
  if (size.width < kLeastShare * whole.width || size.height < kLeastShare * whole.height) return;
  opened.frame = {centred(whole.width, size.width), centred(whole.height, size.height), size.width,
                  size.height};
  opened.preview.assign(jpeg.begin(), jpeg.end());
}

Result<OpenedRaw> open_raw(const fs::path& path) {
  OpenedRaw opened{std::make_unique<LibRaw>(), {}, {}, {}};
  LibRaw& raw = *opened.raw;
  raw.imgdata.params.user_flip = 0;  // pixels as stored; inspect records the orientation
  int code = raw.open_file(path.c_str());
  if (code == LIBRAW_SUCCESS) code = raw.adjust_sizes_info_only();
  opened.developed = {raw.imgdata.sizes.iwidth, raw.imgdata.sizes.iheight};
  // LibRaw does not unpack after it was asked for the size.
  raw.recycle();
  if (code == LIBRAW_SUCCESS) code = raw.open_file(path.c_str());
  if (code != LIBRAW_SUCCESS)
    return reading_fault(path,
                         fmt::format("is no camera raw file that can be read ({})", libraw_strerror(code)),
                         "use the camera's JPEG or convert it to DNG");
  opened.frame = {{0, 0}, opened.developed};
  find_preview(opened, path);
  return opened;
}

// Curve of IEC 61966-2-1 for every 16-bit level.
const std::vector<std::uint16_t>& srgb_curve() {
  static const std::vector<std::uint16_t> curve = [] {
    std::vector<std::uint16_t> made(65536);
    for (std::size_t level = 0; level < made.size(); ++level) {
      const double coded = srgb_from_light(static_cast<double>(level) / 65535);
      made[level] = static_cast<std::uint16_t>(std::lround(65535 * coded));
    }
    return made;
  }();
  return curve;
}

void ask_for_linear_light(LibRaw& raw, bool half_size) {
  libraw_output_params_t& wanted = raw.imgdata.params;
  wanted.output_bps = 16;
  wanted.gamm[0] = wanted.gamm[1] = 1;
  wanted.output_color = 1;  // sRGB primaries
  wanted.use_camera_wb = 1;
  wanted.half_size = half_size ? 1 : 0;
  // Exposure must not depend on what a frame shows, or neighbours in the mosaic would differ.
  wanted.no_auto_bright = 1;
  wanted.adjust_maximum_thr = 0;
}

struct Released {
  void operator()(libraw_processed_image_t* image) const { LibRaw::dcraw_clear_mem(image); }
};

// Interleaved linear RGB of LibRaw to BGR with the sRGB curve.
cv::Mat coded_bgr(const libraw_processed_image_t& image) {
  const auto& curve = srgb_curve();
  cv::Mat bgr(image.height, image.width, CV_16UC3);
  const auto* from = reinterpret_cast<const std::uint16_t*>(image.data);
  for (int row = 0; row < bgr.rows; ++row) {
    auto* to = bgr.ptr<std::uint16_t>(row);
    for (int column = 0; column < bgr.cols; ++column, from += 3, to += 3)
      for (int channel = 0; channel < 3; ++channel) to[channel] = curve[from[2 - channel]];
  }
  return bgr;
}

cv::Mat cut_and_reduced(const cv::Mat& developed, const OpenedRaw& opened, int already, int reduction) {
  const cv::Rect& frame = opened.frame;
  const cv::Rect here(frame.x / already, frame.y / already, reduced_length(frame.width, already),
                      reduced_length(frame.height, already));
  const cv::Mat cut = developed(here & cv::Rect({0, 0}, developed.size()));
  const cv::Size size(reduced_length(frame.width, reduction), reduced_length(frame.height, reduction));
  if (cut.size() == size) return cut.clone();
  cv::Mat small;
  cv::resize(cut, small, size, 0, 0, cv::INTER_AREA);
  return small;
}

Result<cv::Mat> develop(OpenedRaw& opened, const fs::path& path, int reduction) {
  LibRaw& raw = *opened.raw;
  // Only a pattern of 2 x 2 (Bayer) can be binned into half the size.
  const bool half_size = reduction >= 2 && raw.imgdata.idata.filters > 1000;
  ask_for_linear_light(raw, half_size);
  int code = raw.unpack();
  if (code == LIBRAW_SUCCESS) code = raw.dcraw_process();
  const std::unique_ptr<libraw_processed_image_t, Released> image(
      code == LIBRAW_SUCCESS ? raw.dcraw_make_mem_image(&code) : nullptr);
  if (!image || image->bits != 16 || image->colors != 3)
    return reading_fault(path, fmt::format("cannot be developed ({})", libraw_strerror(code)),
                         "copy it again from the card, or use the camera's JPEG");
  return cut_and_reduced(coded_bgr(*image), opened, half_size ? 2 : 1, reduction);
}

}  // namespace

bool raw_is_available() {
  return true;
}

Result<FrameHeader> raw_header(const fs::path& path) {
  const Result<OpenedRaw> opened = open_raw(path);
  if (!opened) return opened.error();
  return FrameHeader{opened->frame.width, opened->frame.height, 16, 3, "RAW"};
}

Result<cv::Mat> raw_preview(const fs::path& path, bool grey, int reduction) {
  Result<OpenedRaw> opened = open_raw(path);
  if (!opened) return opened.error();
  if (!opened->preview.empty())
    return decode_jpeg(opened->preview, grey, reduction, path.filename().string());
  Result<cv::Mat> developed = develop(*opened, path, reduction);
  if (!developed) return developed;
  cv::Mat eight;
  developed->convertTo(eight, CV_8U, 1 / 257.0);
  if (grey) cv::cvtColor(eight, eight, cv::COLOR_BGR2GRAY);
  return eight;
}

Result<cv::Mat> develop_raw(const fs::path& path, int reduction) {
  Result<OpenedRaw> opened = open_raw(path);
  if (!opened) return opened.error();
  return develop(*opened, path, reduction);
}

}  // namespace lookdown
