#include "stages/report/pictures/frame_pictures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/imaging/encode.h"
#include "stages/report/pictures/detail_spot.h"
#include "stages/report/pictures/displayed_frame.h"

namespace lookdown::report {
namespace {

constexpr const char* kPictureVersion = "report-picture/1";
constexpr int kPieceWidth_px = 300;
constexpr int kPieceHeight_px = 200;
/// Typical cost of a textured picture at the quality we would like; only the first guess of a size rests on
/// it.
constexpr double kBytesAPixel = 0.22;
/// Mosaic, repeats, marks, numbers: what the page holds beside the frames' pictures.
constexpr double kOtherShare = 0.2;

struct Allowance {
  std::int64_t whole_bytes = 0;
  std::int64_t piece_bytes = 0;
  int whole_px = 0;
};

Allowance allowance_for(std::size_t frames, const Options& options) {
  // Three bytes become four characters in base64.
  const double all_bytes = options.page_megabytes * 1e6 * (1 - kOtherShare) * 3 / 4;
  const double each_bytes = all_bytes / static_cast<double>(std::max<std::size_t>(frames, 1));
  Allowance allowance;
  allowance.piece_bytes =
      options.full_size_crops ? static_cast<std::int64_t>(std::min(each_bytes * 0.3, 30e3)) : 0;
  allowance.whole_bytes = static_cast<std::int64_t>(each_bytes) - allowance.piece_bytes;
  const double affordable_px = std::sqrt(allowance.whole_bytes / kBytesAPixel * 1.5);
  allowance.whole_px = std::clamp(static_cast<int>(affordable_px / 40) * 40, 160, options.picture_px);
  return allowance;
}

FramePicture make_picture(const FrameRecord& frame, const Allowance& allowance, RunContext& context) {
  FramePixels pixels(context.reader, frame.source, RawPixels::quick);
  const int orientation = frame.source.orientation;
  FramePicture picture;
  // Decoding at twice the size wanted keeps the final shrink free of moire.
  const cv::Mat& reduced = pixels.bgr(pixels.reduction_for(2 * allowance.whole_px));
  picture.whole = jpeg_within(turned_for_display(scaled_to_fit(reduced, allowance.whole_px), orientation),
                              allowance.whole_bytes);
  if (allowance.piece_bytes > 0) {
    const bool on_its_side = DisplayedFrame(frame.source).on_its_side();
    const cv::Size size =
        on_its_side ? cv::Size(kPieceHeight_px, kPieceWidth_px) : cv::Size(kPieceWidth_px, kPieceHeight_px);
    const cv::Mat& full = pixels.bgr(1);
    const cv::Rect area = rectangle_around(detail_spot(frame), size, full.size());
    picture.piece = jpeg_within(turned_for_display(full(area), orientation), allowance.piece_bytes);
  }
  return picture;
}

/// A cached picture is the length of its first part in 8 hexadecimal digits, then both parts.
std::string packed(const FramePicture& picture) {
  return fmt::format("{:08x}", picture.whole.size()) + picture.whole + picture.piece;
}

std::optional<FramePicture> unpacked(const std::string& bytes) {
  constexpr std::size_t kDigits = 8;
  if (bytes.size() < kDigits) return std::nullopt;
  const std::string digits = bytes.substr(0, kDigits);
  if (digits.find_first_not_of("0123456789abcdef") != std::string::npos) return std::nullopt;
  const std::size_t length = std::stoul(digits, nullptr, 16);
  if (bytes.size() < kDigits + length) return std::nullopt;
  return FramePicture{bytes.substr(kDigits, length), bytes.substr(kDigits + length)};
}

FramePicture picture_of(const FrameRecord& frame, const Allowance& allowance, RunContext& context) {
  const cv::Point spot = detail_spot(frame);
  const std::string wanted = fmt::format("{} {} {} {} {},{}", allowance.whole_px, allowance.whole_bytes,
                                         allowance.piece_bytes, frame.source.orientation, spot.x, spot.y);
  const std::string key = Cache::key(kPictureVersion, frame.source.content_hash, wanted);
  if (const auto kept = context.cache.find(key)) {
    if (auto picture = unpacked(*kept)) return *picture;
  }
  FramePicture picture = make_picture(frame, allowance, context);
  context.cache.keep(key, packed(picture));
  return picture;
}

}  // namespace

std::vector<FramePicture> frame_pictures(const FlightRecord& record, const Options& options,
                                         RunContext& context) {
  std::vector<FramePicture> pictures(record.frames.size());
  const Allowance allowance = allowance_for(record.frames.size(), options);
  std::int64_t peak_bytes = 1;
  for (const FrameRecord& frame : record.frames) {
    peak_bytes = std::max(peak_bytes, std::int64_t{5} * frame.source.width_px * frame.source.height_px);
  }
  context.progress.start("report", pictures.size());
  context.scheduler.for_each_frame(
      pictures.size(), peak_bytes,
      [&](std::size_t i) {
        if (!record.frames[i].fault) pictures[i] = picture_of(record.frames[i], allowance, context);
      },
      // A frame that cannot be decoded any more (card pulled, file moved) keeps its row and has no picture.
      [&](std::size_t i, const std::optional<Fault>&) { context.progress.step(i + 1); });
  context.progress.finish();
  return pictures;
}

cv::Mat scaled_to_fit(const cv::Mat& bgr, int long_side_px) {
  const int long_side = std::max(bgr.cols, bgr.rows);
  if (long_side <= long_side_px) return bgr;
  const double factor = static_cast<double>(long_side_px) / long_side;
  cv::Mat scaled;
  cv::resize(bgr, scaled, {std::max(1, cvRound(bgr.cols * factor)), std::max(1, cvRound(bgr.rows * factor))},
             0, 0, cv::INTER_AREA);
  return scaled;
}

std::string jpeg_within(const cv::Mat& bgr, std::int64_t most_bytes) {
  cv::Mat picture = bgr;
  std::vector<std::uint8_t> bytes;
  while (true) {
    for (const int quality : {86, 78, 68, 56, 42}) {
      bytes = encode_jpeg(picture, quality, true);
      if (static_cast<std::int64_t>(bytes.size()) <= most_bytes) return {bytes.begin(), bytes.end()};
    }
    const int long_side = std::max(picture.cols, picture.rows);
    if (long_side < 64) return {bytes.begin(), bytes.end()};
    picture = scaled_to_fit(picture, long_side * 3 / 4);
  }
}

std::string base64(const std::string& bytes) {
  static constexpr char kAlphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t left = std::min<std::size_t>(3, bytes.size() - i);
    std::uint32_t three = static_cast<std::uint8_t>(bytes[i]) << 16;
    if (left > 1) three |= static_cast<std::uint8_t>(bytes[i + 1]) << 8;
    if (left > 2) three |= static_cast<std::uint8_t>(bytes[i + 2]);
    text += kAlphabet[three >> 18];
    text += kAlphabet[three >> 12 & 63];
    text += left > 1 ? kAlphabet[three >> 6 & 63] : '=';
    text += left > 2 ? kAlphabet[three & 63] : '=';
  }
  return text;
}

}  // namespace lookdown::report
