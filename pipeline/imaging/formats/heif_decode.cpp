#include "pipeline/imaging/formats/heif_decode.h"

#include <fmt/core.h>
#include <libheif/heif.h>

#include <memory>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/imaging/colour/colour.h"
#include "pipeline/imaging/formats/reading_fault.h"

namespace lookdown {
namespace {

struct Closer {
  void operator()(heif_context* context) const { heif_context_free(context); }
  void operator()(heif_image_handle* handle) const { heif_image_handle_release(handle); }
  void operator()(heif_image* image) const { heif_image_release(image); }
  void operator()(heif_color_profile_nclx* profile) const { heif_nclx_color_profile_free(profile); }
};

struct OpenedHeif {
  std::unique_ptr<heif_context, Closer> context;
  std::unique_ptr<heif_image_handle, Closer> picture;
};

Result<OpenedHeif> open_heif(std::span<const std::uint8_t> bytes, const std::string& file) {
  OpenedHeif opened{std::unique_ptr<heif_context, Closer>(heif_context_alloc()), nullptr};
  heif_error error =
      heif_context_read_from_memory_without_copy(opened.context.get(), bytes.data(), bytes.size(), nullptr);
  if (error.code == heif_error_Ok) {
    heif_image_handle* primary = nullptr;
    error = heif_context_get_primary_image_handle(opened.context.get(), &primary);
    opened.picture.reset(primary);
  }
  if (error.code != heif_error_Ok)
    return reading_fault(file, fmt::format("is no readable HEIF or AVIF ({})", error.message));
  // The frames of a flight are decoded side by side already.
  heif_context_set_max_decoding_threads(opened.context.get(), 1);
  return opened;
}

bool is_avif(std::span<const std::uint8_t> bytes) {
  return bytes.size() > 11 && bytes[8] == 'a' && bytes[9] == 'v';
}

// Colours by ICC profile, or by the code points of ITU-T H.273.
Result<std::vector<std::uint8_t>> profile_of(const heif_image_handle& picture, const std::string& file) {
  std::vector<std::uint8_t> icc(heif_image_handle_get_raw_color_profile_size(&picture));
  if (!icc.empty() && heif_image_handle_get_raw_color_profile(&picture, icc.data()).code == heif_error_Ok)
    return icc;
  heif_color_profile_nclx* found = nullptr;
  if (heif_image_handle_get_nclx_color_profile(&picture, &found).code != heif_error_Ok || !found)
    return std::vector<std::uint8_t>();
  const std::unique_ptr<heif_color_profile_nclx, Closer> named(found);
  const auto curve = named->transfer_characteristics;
  if (curve == heif_transfer_characteristic_ITU_R_BT_2100_0_PQ ||
      curve == heif_transfer_characteristic_ITU_R_BT_2100_0_HLG)
    return reading_fault(file, "is a high dynamic range picture (PQ or HLG)",
                         "export it as an ordinary picture");
  if (named->color_primaries == heif_color_primaries_SMPTE_EG_432_1) return display_p3_profile();
  return std::vector<std::uint8_t>();
}

// Copies interleaved RGB of the decoder's own stride and depth into BGR; deep samples are spread over 16
// bits.
Result<cv::Mat> pixels_of(const heif_image& image, const std::string& file) {
  int stride = 0;
  const std::uint8_t* plane = heif_image_get_plane_readonly(&image, heif_channel_interleaved, &stride);
  if (!plane) return reading_fault(file, "holds no pixels that can be read");
  const int bits = heif_image_get_bits_per_pixel_range(&image, heif_channel_interleaved);
  const cv::Mat rgb(heif_image_get_height(&image, heif_channel_interleaved),
                    heif_image_get_width(&image, heif_channel_interleaved), bits > 8 ? CV_16UC3 : CV_8UC3,
                    const_cast<std::uint8_t*>(plane), static_cast<std::size_t>(stride));
  cv::Mat bgr;
  cv::cvtColor(rgb, bgr, cv::COLOR_RGB2BGR);
  if (bits > 8) bgr.convertTo(bgr, CV_16U, 65535.0 / ((1 << bits) - 1));
  return bgr;
}

}  // namespace

Result<FrameHeader> heif_header(std::span<const std::uint8_t> bytes, const std::string& file) {
  const Result<OpenedHeif> opened = open_heif(bytes, file);
  if (!opened) return opened.error();
  const heif_image_handle* picture = opened->picture.get();
  return FrameHeader{heif_image_handle_get_width(picture), heif_image_handle_get_height(picture),
                     heif_image_handle_get_luma_bits_per_pixel(picture) > 8 ? 16 : 8, 3,
                     is_avif(bytes) ? "AVIF" : "HEIF"};
}

Result<cv::Mat> decode_heif(std::span<const std::uint8_t> bytes, const std::string& file) {
  const Result<OpenedHeif> opened = open_heif(bytes, file);
  if (!opened) return opened.error();
  const heif_image_handle& picture = *opened->picture;
  const Result<std::vector<std::uint8_t>> profile = profile_of(picture, file);
  if (!profile) return profile.error();
  const bool deep = heif_image_handle_get_luma_bits_per_pixel(&picture) > 8;
  heif_image* decoded = nullptr;
  const heif_error error =
      heif_decode_image(&picture, &decoded, heif_colorspace_RGB,
                        deep ? heif_chroma_interleaved_RRGGBB_LE : heif_chroma_interleaved_RGB, nullptr);
  const std::unique_ptr<heif_image, Closer> image(decoded);
  if (error.code != heif_error_Ok)
    return reading_fault(file, fmt::format("cannot be decoded ({})", error.message));
  Result<cv::Mat> bgr = pixels_of(*image, file);
  if (bgr) to_working_space(*bgr, *profile);
  return bgr;
}

}  // namespace lookdown
