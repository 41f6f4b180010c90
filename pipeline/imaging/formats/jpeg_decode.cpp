#include "pipeline/imaging/formats/jpeg_decode.h"

#include <fmt/core.h>

#include <algorithm>
#include <csetjmp>
#include <cstdio>
#include <cstdlib>
#include <memory>
// jpeglib.h needs FILE and size_t declared before it.
#include <jerror.h>
#include <jpeglib.h>

#include "pipeline/imaging/colour/colour.h"
#include "pipeline/imaging/formats/reading_fault.h"

namespace lookdown {
namespace {

// libjpeg reports by calls that must not return for errors; a jump is its documented way out. No object with
// a destructor may live between the setjmp and the calls below.
struct Decoder {
  jpeg_decompress_struct codec;
  jpeg_error_mgr reports;
  std::jmp_buf way_out;
  char message[JMSG_LENGTH_MAX];
  bool damaged;
  bool keep_segments = false;  ///< Exif and colour profile
};

Decoder& decoder_of(j_common_ptr codec) {
  return *static_cast<Decoder*>(codec->client_data);
}

void on_error(j_common_ptr codec) {
  Decoder& decoder = decoder_of(codec);
  codec->err->format_message(codec, decoder.message);
  std::longjmp(decoder.way_out, 1);
}

void on_message(j_common_ptr codec, int level) {
  if (level >= 0) return;  // traces
  // Stray bytes between segments are harmless and common; anything else means that pixels are not what was
  // shot.
  const int code = codec->err->msg_code;
  if (code == JWRN_EXTRANEOUS_DATA || code == JWRN_ADOBE_XFORM) return;
  Decoder& decoder = decoder_of(codec);
  if (!decoder.damaged) codec->err->format_message(codec, decoder.message);
  decoder.damaged = true;
}

void open(Decoder& decoder) {
  decoder.damaged = false;
  decoder.message[0] = 0;
  decoder.codec.err = jpeg_std_error(&decoder.reports);
  decoder.codec.client_data = &decoder;
  decoder.reports.error_exit = on_error;
  decoder.reports.emit_message = on_message;
}

// Reads the header; returns false when libjpeg refused it.
bool read_header(Decoder& decoder, std::span<const std::uint8_t> bytes) {
  if (setjmp(decoder.way_out)) return false;
  jpeg_create_decompress(&decoder.codec);
  decoder.codec.client_data = &decoder;
  jpeg_mem_src(&decoder.codec, bytes.data(), static_cast<unsigned long>(bytes.size()));
  if (decoder.keep_segments) {
    jpeg_save_markers(&decoder.codec, JPEG_APP0 + 1, 0xFFFF);  // Exif
    jpeg_save_markers(&decoder.codec, JPEG_APP0 + 2, 0xFFFF);  // ICC profile
  }
  return jpeg_read_header(&decoder.codec, TRUE) == JPEG_HEADER_OK;
}

struct Freer {
  void operator()(void* memory) const { std::free(memory); }
};

// Profile of the file's colours; empty: sRGB. To be called after the header was read with its segments kept.
std::vector<std::uint8_t> profile_of(jpeg_decompress_struct& codec) {
  JOCTET* bytes = nullptr;
  unsigned length = 0;
  if (jpeg_read_icc_profile(&codec, &bytes, &length)) {
    const std::unique_ptr<JOCTET, Freer> owned(bytes);
    return {bytes, bytes + length};
  }
  for (jpeg_saved_marker_ptr segment = codec.marker_list; segment; segment = segment->next)
    if (segment->marker == JPEG_APP0 + 1 && exif_names_adobe_rgb({segment->data, segment->data_length}))
      return adobe_rgb_profile();
  return {};
}

// Starts decompression at the wanted size; false when refused.
bool start(Decoder& decoder, bool grey, int reduction) {
  if (setjmp(decoder.way_out)) return false;
  decoder.codec.scale_num = 1;
  decoder.codec.scale_denom = static_cast<unsigned>(reduction);
  decoder.codec.out_color_space = grey ? JCS_GRAYSCALE : JCS_EXT_BGR;
  decoder.codec.dct_method = JDCT_ISLOW;
  return jpeg_start_decompress(&decoder.codec) == TRUE;
}

// Decodes rows into the image until done, damaged, or refused; returns the number of rows that came out
// sound.
int read_rows(Decoder& decoder, cv::Mat& image) {
  volatile int sound_rows = 0;
  if (setjmp(decoder.way_out)) {
    decoder.damaged = true;
    return sound_rows;
  }
  while (decoder.codec.output_scanline < decoder.codec.output_height) {
    JSAMPROW row = image.ptr<JSAMPLE>(static_cast<int>(decoder.codec.output_scanline));
    jpeg_read_scanlines(&decoder.codec, &row, 1);
    if (decoder.damaged) return sound_rows;
    sound_rows = static_cast<int>(decoder.codec.output_scanline);
  }
  return sound_rows;
}

}  // namespace

bool is_jpeg(std::span<const std::uint8_t> bytes) {
  return bytes.size() >= 3 && bytes[0] == 0xFF && bytes[1] == 0xD8 && bytes[2] == 0xFF;
}

Result<FrameHeader> jpeg_header(std::span<const std::uint8_t> bytes, const std::string& file) {
  Decoder decoder;
  open(decoder);
  const bool readable = read_header(decoder, bytes);
  FrameHeader header{static_cast<int>(decoder.codec.image_width),
                     static_cast<int>(decoder.codec.image_height), decoder.codec.data_precision,
                     decoder.codec.num_components, "JPEG"};
  const J_COLOR_SPACE colours = decoder.codec.jpeg_color_space;
  jpeg_destroy_decompress(&decoder.codec);
  if (!readable) return reading_fault(file, fmt::format("is no readable JPEG ({})", decoder.message));
  if (colours == JCS_CMYK || colours == JCS_YCCK)
    return reading_fault(file, "is a CMYK picture for printing, not a camera frame",
                         "convert it to RGB first");
  if (decoder.codec.data_precision != 8)
    return reading_fault(file, "is a 12-bit JPEG", "convert it to an 8-bit JPEG or a 16-bit TIFF");
  return header;
}

Result<cv::Mat> decode_jpeg(std::span<const std::uint8_t> bytes, bool grey, int reduction,
                            const std::string& file) {
  const Result<FrameHeader> header = jpeg_header(bytes, file);
  if (!header) return header.error();
  Decoder decoder;
  open(decoder);
  decoder.keep_segments = !grey;
  if (!read_header(decoder, bytes) || !start(decoder, grey, reduction)) {
    jpeg_destroy_decompress(&decoder.codec);
    return reading_fault(file, fmt::format("cannot be decoded ({})", decoder.message));
  }
  const int rows = static_cast<int>(decoder.codec.output_height);
  cv::Mat image(rows, static_cast<int>(decoder.codec.output_width), grey ? CV_8UC1 : CV_8UC3);
  const int sound_rows = read_rows(decoder, image);
  const std::string message = decoder.message;
  const bool damaged = decoder.damaged;
  const std::vector<std::uint8_t> profile =
      grey || damaged ? std::vector<std::uint8_t>() : profile_of(decoder.codec);
  // Not jpeg_finish_decompress: it would read on to the end of file and fail on what is already known.
  jpeg_destroy_decompress(&decoder.codec);
  if (damaged) {
    const int sound_stored_rows = std::min(sound_rows * reduction, header->height_px);
    return reading_fault(file, fmt::format("ends or breaks after {} of {} rows ({})", sound_stored_rows,
                                           header->height_px, message));
  }
  to_working_space(image, profile);
  return image;
}

}  // namespace lookdown
