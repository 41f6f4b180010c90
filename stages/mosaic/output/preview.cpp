#include "stages/mosaic/output/preview.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::mosaic {
namespace {

const cv::Scalar kInk(20, 20, 20), kPaper(255, 255, 255);

cv::Mat on_white(const cv::Mat& rgba) {
  cv::Mat picture(rgba.size(), CV_8UC3);
  for (int row = 0; row < rgba.rows; ++row)
    for (int column = 0; column < rgba.cols; ++column) {
      const auto& pixel = rgba.at<cv::Vec4b>(row, column);
      const int alpha = pixel[3];
      for (int channel = 0; channel < 3; ++channel)
        picture.at<cv::Vec3b>(row, column)[channel] =
            static_cast<uchar>((pixel[2 - channel] * alpha + 255 * (255 - alpha) + 127) / 255);
    }
  return picture;
}

struct Lettering {
  double scale = 1;
  int stroke = 1;
};

Lettering lettering(double height_px) {
  return {height_px / 22, std::max(1, static_cast<int>(std::lround(height_px / 12)))};
}

int text_width_px(const std::string& text, double height_px) {
  const Lettering letters = lettering(height_px);
  int below_baseline = 0;
  // The light rim is four strokes wide and stands out on both sides.
  return cv::getTextSize(text, cv::FONT_HERSHEY_SIMPLEX, letters.scale, letters.stroke * 4, &below_baseline)
      .width;
}

/// Text of `height_px`, dark on a light rim, its left end of the baseline at `where`.
void write_text(cv::Mat& picture, const std::string& text, cv::Point where, double height_px) {
  const auto [scale, stroke] = lettering(height_px);
  cv::putText(picture, text, where, cv::FONT_HERSHEY_SIMPLEX, scale, kPaper, stroke * 4, cv::LINE_AA);
  cv::putText(picture, text, where, cv::FONT_HERSHEY_SIMPLEX, scale, kInk, stroke, cv::LINE_AA);
}

void draw_scale_bar(cv::Mat& picture, double metres_per_px, int unit) {
  const double length_m = scale_bar_length_m(picture.cols * metres_per_px);
  const int length = static_cast<int>(std::lround(length_m / metres_per_px));
  const cv::Point left(2 * unit, picture.rows - 2 * unit);
  cv::rectangle(picture, left + cv::Point(-3, -unit / 2 - 3), left + cv::Point(length + 3, 3), kPaper,
                cv::FILLED);
  for (int part = 0; part < 4; ++part)
    cv::rectangle(picture, left + cv::Point(length * part / 4, -unit / 2),
                  left + cv::Point(length * (part + 1) / 4, 0), kInk, part % 2 == 0 ? cv::FILLED : 1);
  write_text(picture, fmt::format("{:g} m", length_m), left + cv::Point(0, -unit), unit);
}

void draw_north_arrow(cv::Mat& picture, int unit) {
  const cv::Point tip(picture.cols - 3 * unit, 2 * unit);
  const std::vector<cv::Point> arrow{tip, tip + cv::Point(unit, 4 * unit), tip + cv::Point(0, 3 * unit),
                                     tip + cv::Point(-unit, 4 * unit)};
  cv::polylines(picture, arrow, true, kPaper, std::max(3, unit / 4), cv::LINE_AA);
  cv::fillPoly(picture, std::vector<std::vector<cv::Point>>{arrow}, kInk, cv::LINE_AA);
  write_text(picture, "N", tip + cv::Point(-unit / 2, 5 * unit + unit / 2), 1.3 * unit);
}

}  // namespace

cv::Size preview_size(const Canvas& canvas) {
  const double factor =
      std::min(1.0, static_cast<double>(kPreviewLongSidePx) / std::max(canvas.width_px, canvas.height_px));
  return {std::max(1, static_cast<int>(std::lround(canvas.width_px * factor))),
          std::max(1, static_cast<int>(std::lround(canvas.height_px * factor)))};
}

double scale_bar_length_m(double width_m, double share) {
  const double most = width_m * share, decade = std::pow(10, std::floor(std::log10(most)));
  for (const double step : {5.0, 2.0})
    if (step * decade <= most) return step * decade;
  return decade;
}

cv::Mat draw_preview(const cv::Mat& rgba, const Canvas& canvas, bool north_known, const std::string& days) {
  cv::Mat picture = on_white(rgba);
  const int unit = std::max(8, std::min(picture.cols, picture.rows) / 60);
  if (std::min(picture.cols, picture.rows) < 20 * 8) return picture;  // no room for marks that could be read
  if (canvas.gsd_m) draw_scale_bar(picture, *canvas.gsd_m * canvas.width_px / picture.cols, unit);
  if (north_known) draw_north_arrow(picture, unit);
  if (!days.empty())
    write_text(picture, days,
               {std::max(0, picture.cols - text_width_px(days, unit) - unit), picture.rows - 2 * unit}, unit);
  return picture;
}

}  // namespace lookdown::mosaic
