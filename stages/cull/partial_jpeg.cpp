#include "stages/cull/partial_jpeg.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "stages/cull/block_transform.h"
#include "stages/cull/jpeg_headers.h"
#include "stages/cull/scan_bits.h"
#include "stages/cull/scan_walk.h"

namespace lookdown::cull {
namespace {

using Bytes = std::span<const std::uint8_t>;

/// DC coefficients of each component, still quantised: CV_16S, one pixel a block, whole minimum coded units.
std::vector<cv::Mat> dc_planes(const JpegHeaders& headers, const ScanWalk& walk) {
  std::vector<cv::Mat> planes;
  for (const JpegComponent& c : headers.components) planes.emplace_back(headers.mcu_rows() * c.down, headers.mcu_columns() * c.across, CV_16S);
  std::vector<int> predicted(planes.size(), 0);
  int until_restart = headers.restart_interval;
  ScanWalk::Cursor blocks = walk.begin();
  for (int mcu_row = 0; mcu_row < headers.mcu_rows(); ++mcu_row)
    for (int mcu_column = 0; mcu_column < headers.mcu_columns(); ++mcu_column) {
      if (headers.restart_interval > 0 && until_restart-- == 0) {
        std::fill(predicted.begin(), predicted.end(), 0);
        until_restart = headers.restart_interval - 1;
      }
      for (std::size_t i = 0; i < planes.size(); ++i) {
        const JpegComponent& c = headers.components[i];
        for (int v = 0; v < c.down; ++v) {
          auto* row = planes[i].ptr<std::int16_t>(mcu_row * c.down + v) + mcu_column * c.across;
          for (int h = 0; h < c.across; ++h) {
            // A damaged stream must not run the prediction out of range.
            predicted[i] = std::clamp(predicted[i] + blocks.next().dc_difference(), -32768, 32767);
            row[h] = static_cast<std::int16_t>(predicted[i]);
          }
        }
      }
    }
  return planes;
}

/// Means of the blocks as a colour picture.
cv::Mat overview_of(const JpegHeaders& headers, const std::vector<cv::Mat>& dc) {
  const cv::Size size((headers.width + 7) / 8, (headers.height + 7) / 8);
  std::vector<cv::Mat> planes;
  for (std::size_t i = 0; i < dc.size(); ++i) {
    const JpegComponent& c = headers.components[i];
    cv::Mat plane;
    dc[i].convertTo(plane, CV_8U, headers.quantisation[c.quantisation][0] / 8.0, 128);
    if (c.across != headers.most_across || c.down != headers.most_down)
      cv::resize(plane, plane, {plane.cols * headers.most_across / c.across, plane.rows * headers.most_down / c.down}, 0, 0, cv::INTER_NEAREST);
    planes.push_back(plane(cv::Rect({0, 0}, size)));
  }
  cv::Mat bgr;
  if (planes.size() == 1) {
    cv::cvtColor(planes[0], bgr, cv::COLOR_GRAY2BGR);
  } else {
    std::swap(planes[1], planes[2]);  // OpenCV orders Y, Cr, Cb
    cv::Mat ycc;
    cv::merge(planes, ycc);
    cv::cvtColor(ycc, bgr, cv::COLOR_YCrCb2BGR);
  }
  return bgr;
}

/// Luminance of one part; empty where the stream is damaged.
cv::Mat luminance_of(const JpegHeaders& headers, const ScanBits& bits, const ScanWalk& walk, const cv::Mat& dc, const cv::Rect& part) {
  const JpegComponent& c = headers.components[0];
  const auto blocks_of_mcu = static_cast<std::size_t>(headers.blocks_of_mcu());
  const cv::Point first(part.x / 8, part.y / 8), last((part.x + part.width + 7) / 8, (part.y + part.height + 7) / 8);
  cv::Mat whole(8 * (last - first).y, 8 * (last - first).x, CV_8U);
  BlockCoefficients block;
  for (int row = first.y; row < last.y; ++row)
    for (int column = first.x; column < last.x; ++column) {
      const std::size_t mcu = static_cast<std::size_t>(row / c.down) * headers.mcu_columns() + column / c.across;
      const std::size_t index = mcu * blocks_of_mcu + static_cast<std::size_t>(row % c.down) * c.across + column % c.across;
      if (!read_block(bits, walk.block(index).first_bit(), *headers.dc[c.dc_table], *headers.ac[c.ac_table], headers.quantisation[c.quantisation],
                      dc.at<std::int16_t>(row, column), block))
        return {};
      inverse_transform(block, whole.ptr<std::uint8_t>(8 * (row - first.y)) + 8 * (column - first.x), static_cast<std::ptrdiff_t>(whole.step[0]));
    }
  return whole(cv::Rect(part.tl() - 8 * first, part.size()));
}

}  // namespace

std::optional<cv::Size> partial_decode_size(Bytes file) {
  const auto headers = read_jpeg_headers(file);
  if (!headers) return std::nullopt;
  return cv::Size(headers->width, headers->height);
}

std::optional<PartialPicture> decode_parts(Bytes file, const std::vector<cv::Rect>& wanted) {
  const auto headers = read_jpeg_headers(file);
  if (!headers) return std::nullopt;
  const ScanBits bits(file.subspan(headers->scan_begins));
  const auto walk = ScanWalk::over(*headers, bits);
  if (!walk) return std::nullopt;
  const std::vector<cv::Mat> dc = dc_planes(*headers, *walk);
  PartialPicture out;
  out.overview = overview_of(*headers, dc);
  for (const cv::Rect& part : wanted) {
    out.parts.push_back(luminance_of(*headers, bits, *walk, dc[0], part));
    if (out.parts.back().empty()) return std::nullopt;
  }
  return out;
}

}  // namespace lookdown::cull
