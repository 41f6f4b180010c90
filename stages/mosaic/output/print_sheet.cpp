#include "stages/mosaic/output/print_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <tuple>
#include <utility>
#include <vector>

#include "pipeline/imaging/encode.h"
#include "stages/mosaic/output/pdf_document.h"
#include "stages/mosaic/output/preview.h"

namespace lookdown::mosaic {
namespace {

constexpr double kMarginMm = 10, kFooterMm = 24;  // common practice: printers leave 5 mm white
constexpr double kDotsPerMm = 200 / 25.4;

struct Paper {
  double wide_mm, high_mm;
};

/// ISO 216: A0 is 841 x 1189 mm, each next one half of it.
Paper paper_size(const std::string& name, bool landscape) {
  double wide = 841, high = 1189;
  for (int halvings = name.size() == 2 ? name[1] - '0' : 3; halvings > 0; --halvings)
    std::tie(wide, high) = std::pair(std::floor(high / 2), wide);
  return landscape ? Paper{high, wide} : Paper{wide, high};
}

std::string jpeg_on_white(const cv::Mat& rgba) {
  cv::Mat picture(rgba.size(), CV_8UC3);
  for (int row = 0; row < rgba.rows; ++row)
    for (int column = 0; column < rgba.cols; ++column) {
      const auto& pixel = rgba.at<cv::Vec4b>(row, column);
      for (int channel = 0; channel < 3; ++channel)
        picture.at<cv::Vec3b>(row, column)[channel] =
            static_cast<uchar>((pixel[2 - channel] * pixel[3] + 255 * (255 - pixel[3]) + 127) / 255);
    }
  return as_text(encode_jpeg(picture, 90));
}

void draw_scale_bar(PdfPage& page, int scale, double left, double bottom, double most_mm) {
  const double length_m = scale_bar_length_m(most_mm * 1e-3 * scale, 1.0), length_mm = length_m * 1e3 / scale;
  for (int part = 0; part < 4; ++part)
    page.rectangle(left + length_mm * part / 4, bottom, length_mm / 4, 2, part % 2 == 0);
  page.text("0", left, bottom + 3, 2.8);
  page.text(fmt::format("{:g} m", length_m), left + length_mm, bottom + 3, 2.8);
}

void draw_north_arrow(PdfPage& page, double x, double bottom) {
  page.polygon({{x, bottom + 12}, {x + 3, bottom}, {x, bottom + 3}, {x - 3, bottom}});
  page.text("N", x - 1.3, bottom + 13, 3.6, true);
}

void draw_footer(PdfPage& page, const Paper& paper, const PrintText& text, int scale,
                 const std::string& sheet) {
  page.text(text.title, kMarginMm, kMarginMm + 15, 5, true);
  std::string facts = fmt::format("Scale 1 : {} when printed at 100 %   {} frames", scale, text.frames);
  if (!text.days.empty()) facts += "   taken " + text.days;
  if (!sheet.empty()) facts += "   sheet " + sheet;
  page.text(facts, kMarginMm, kMarginMm + 9.5, 3.2);
  page.text(text.accuracy, kMarginMm, kMarginMm + 5, 2.8);
  page.text(
      "Made from pictures taken from the air; not a licensed survey. What stands above the plane leans.",
      kMarginMm, kMarginMm + 1, 2.4);
  draw_scale_bar(page, scale, paper.wide_mm - kMarginMm - 75, kMarginMm + 12, 45);
  if (text.north_known) draw_north_arrow(page, paper.wide_mm - kMarginMm - 5, kMarginMm + 3);
}

}  // namespace

int fitting_scale(double width_m, double height_m, double room_wide_mm, double room_high_mm) {
  const double least = std::max(width_m * 1e3 / room_wide_mm, height_m * 1e3 / room_high_mm);
  for (double decade = 10;; decade *= 10)
    for (const double step : {1.0, 2.0, 2.5, 5.0})
      if (step * decade >= std::max(least, 20.0)) return static_cast<int>(step * decade);
}

std::string print_sheet(const Canvas& canvas, const ReadArea& read, const PrintText& text,
                        const std::string& paper_name, int scale) {
  const Paper paper = paper_size(paper_name, canvas.width_px > canvas.height_px);
  const double room_wide = paper.wide_mm - 2 * kMarginMm,
               room_high = paper.high_mm - 2 * kMarginMm - kFooterMm;
  const double gsd_m = canvas.gsd_m.value_or(1);
  if (scale <= 0)
    scale = fitting_scale(canvas.width_px * gsd_m, canvas.height_px * gsd_m, room_wide, room_high);
  const double mm_per_px = gsd_m * 1e3 / scale;
  const int wide_px = std::max(1, static_cast<int>(room_wide / mm_per_px)),
            high_px = std::max(1, static_cast<int>(room_high / mm_per_px));
  const int columns = (canvas.width_px + wide_px - 1) / wide_px,
            rows = (canvas.height_px + high_px - 1) / high_px;
  std::vector<PdfPage> pages;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const cv::Rect area = cv::Rect(column * wide_px, row * high_px, wide_px, high_px) &
                            cv::Rect(0, 0, canvas.width_px, canvas.height_px);
      const double dots_per_px = std::min(1.0, kDotsPerMm * mm_per_px);
      const cv::Size size(std::max(1, static_cast<int>(std::lround(area.width * dots_per_px))),
                          std::max(1, static_cast<int>(std::lround(area.height * dots_per_px))));
      PdfPage page(paper.wide_mm, paper.high_mm);
      page.picture(jpeg_on_white(read(area, size)), size.width, size.height, kMarginMm,
                   paper.high_mm - kMarginMm - area.height * mm_per_px, area.width * mm_per_px,
                   area.height * mm_per_px);
      const std::string sheet = rows * columns > 1
                                    ? fmt::format("{} of {} (row {}, column {})", pages.size() + 1,
                                                  rows * columns, row + 1, column + 1)
                                    : "";
      draw_footer(page, paper, text, scale, sheet);
      pages.push_back(std::move(page));
    }
  return pdf_document(pages);
}

}  // namespace lookdown::mosaic
