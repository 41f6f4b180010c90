#include "pipeline/imaging/partial_jpeg/partial_jpeg.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "pipeline/imaging/partial_jpeg/block_transform.h"

namespace lookdown {
namespace {

/// Sums of the differences that the stream holds.
std::vector<cv::Mat> dc_planes(const JpegHeaders& headers, const ScanWalk& walk) {
  std::vector<cv::Mat> planes;
  for (const JpegComponent& c : headers.components)
    planes.emplace_back(headers.mcu_rows() * c.down, headers.mcu_columns() * c.across, CV_16S);
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

}  // namespace

PartialJpeg::PartialJpeg(JpegHeaders headers, ScanBits bits, ScanWalk walk)
    : headers_(std::move(headers)),
      bits_(std::move(bits)),
      walk_(std::move(walk)),
      dc_(dc_planes(headers_, walk_)) {}

std::optional<PartialJpeg> PartialJpeg::open(std::span<const std::uint8_t> file) {
  auto headers = read_jpeg_headers(file);
  if (!headers) return std::nullopt;
  ScanBits bits(file.subspan(headers->scan_begins));
  auto walk = ScanWalk::over(*headers, bits);
  if (!walk) return std::nullopt;
  return PartialJpeg(std::move(*headers), std::move(bits), std::move(*walk));
}

cv::Mat PartialJpeg::overview() const {
  const cv::Size size((headers_.width + 7) / 8, (headers_.height + 7) / 8);
  std::vector<cv::Mat> planes;
  for (std::size_t i = 0; i < dc_.size(); ++i) {
    const JpegComponent& c = headers_.components[i];
    cv::Mat plane;
    dc_[i].convertTo(plane, CV_8U, headers_.quantisation[c.quantisation][0] / 8.0, 128);
    if (c.across != headers_.most_across || c.down != headers_.most_down)
      cv::resize(plane, plane,
                 {plane.cols * headers_.most_across / c.across, plane.rows * headers_.most_down / c.down}, 0,
                 0, cv::INTER_NEAREST);
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

cv::Mat PartialJpeg::luminance(const cv::Rect& part) const {
  const JpegComponent& c = headers_.components[0];
  const auto blocks_of_mcu = static_cast<std::size_t>(headers_.blocks_of_mcu());
  const cv::Point first(part.x / 8, part.y / 8),
      last((part.x + part.width + 7) / 8, (part.y + part.height + 7) / 8);
  cv::Mat whole(8 * (last - first).y, 8 * (last - first).x, CV_8U);
  BlockCoefficients block;
  for (int row = first.y; row < last.y; ++row)
    for (int column = first.x; column < last.x; ++column) {
      const std::size_t mcu =
          static_cast<std::size_t>(row / c.down) * headers_.mcu_columns() + column / c.across;
      const std::size_t index =
          mcu * blocks_of_mcu + static_cast<std::size_t>(row % c.down) * c.across + column % c.across;
      if (!read_block(bits_, walk_.block(index).first_bit(), *headers_.dc[c.dc_table],
                      *headers_.ac[c.ac_table], headers_.quantisation[c.quantisation],
                      dc_[0].at<std::int16_t>(row, column), block))
        return {};
      inverse_transform(block, whole.ptr<std::uint8_t>(8 * (row - first.y)) + 8 * (column - first.x),
                        static_cast<std::ptrdiff_t>(whole.step[0]));
    }
  return whole(cv::Rect(part.tl() - 8 * first, part.size()));
}

}  // namespace lookdown
