#include "stages/mosaic/output/print/print_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <sstream>
#include <tuple>
#include <utility>
#include <vector>

#include "pipeline/imaging/encode.h"
#include "stages/mosaic/output/preview.h"
#include "stages/mosaic/output/print/pdf_document.h"

namespace lookdown::mosaic {
namespace {

constexpr double kMarginMm = 8;      // common practice: printers leave 5 mm white
constexpr double kLabelsMm = 5;      // round the frame, for the grid's coordinates
constexpr double kSidePanelMm = 58;  // wide enough for a bar and a line of text
constexpr double kFootPanelMm = 27;  // three lines of text beside bar and arrow
constexpr double kGridLeastMm = 30;  // closer lines would hide the ground
constexpr double kDotsPerMm = 200 / 25.4;
constexpr double kBlack = 0, kGridGrey = 0.75, kNoteGrey = 0.3;

struct Box {
  double left = 0, bottom = 0, wide = 0, high = 0;  // mm
};

/// Where things stand on a sheet.
struct SheetLayout {
  double paper_wide_mm = 0, paper_high_mm = 0;
  Box map, panel;
  bool panel_at_side = false;
};

/// ISO 216: A0 is 841 x 1189 mm, each next one half of it.
SheetLayout layout_of(const std::string& paper, bool landscape, bool panel_at_side) {
  double wide = 841, high = 1189;
  for (int halvings = paper.size() == 2 ? paper[1] - '0' : 3; halvings > 0; --halvings)
    std::tie(wide, high) = std::pair(std::floor(high / 2), wide);
  if (landscape) std::swap(wide, high);
  SheetLayout layout{wide, high, {}, {}, panel_at_side};
  const double inner_wide = wide - 2 * kMarginMm, inner_high = high - 2 * kMarginMm;
  const double foot = panel_at_side ? 0 : kFootPanelMm, side = panel_at_side ? kSidePanelMm : 0;
  layout.map = {kMarginMm + kLabelsMm, kMarginMm + foot + kLabelsMm, inner_wide - side - kLabelsMm,
                inner_high - foot - kLabelsMm};
  layout.panel =
      panel_at_side
          ? Box{wide - kMarginMm - kSidePanelMm + kLabelsMm, kMarginMm, kSidePanelMm - kLabelsMm, inner_high}
          : Box{kMarginMm + kLabelsMm, kMarginMm, inner_wide - kLabelsMm, kFootPanelMm - 3};
  return layout;
}

struct ChosenSheet {
  SheetLayout layout;
  int scale = 0;
};

/// The largest picture on one sheet; with a given scale the fewest sheets.
ChosenSheet choose_layout(const Canvas& canvas, double gsd_m, const std::string& paper, int scale) {
  const double width_m = canvas.width_px * gsd_m, height_m = canvas.height_px * gsd_m;
  ChosenSheet best;
  double best_cost = INFINITY;
  for (const bool landscape : {width_m >= height_m, width_m < height_m})
    for (const bool at_side : {false, true}) {
      const SheetLayout layout = layout_of(paper, landscape, at_side);
      const int own = scale > 0 ? scale : fitting_scale(width_m, height_m, layout.map.wide, layout.map.high);
      const double sheets = std::ceil(width_m * 1e3 / own / layout.map.wide - 1e-9) *
                            std::ceil(height_m * 1e3 / own / layout.map.high - 1e-9);
      // At the same scale a sheet that lies as the picture does is expected; then the smaller frame leaves
      // less white. Both are worth less than a sheet or a step of the scale.
      const double lies_otherwise = landscape == (width_m >= height_m) ? 0 : 0.1;
      const double cost =
          (scale > 0 ? sheets : own) + lies_otherwise + 1e-7 * layout.map.wide * layout.map.high;
      if (cost < best_cost) best_cost = cost, best = {layout, own};
    }
  return best;
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

/// Lines of text downwards from a place.
class Lines {
 public:
  Lines(PdfPage& page, double left, double top, double wide)
      : page_(page), left_(left), at_(top), wide_(wide) {}
  void add(const std::string& text, double size_mm, bool bold = false) {
    // Helvetica is about half as wide as high on the average.
    const std::size_t most = std::max<std::size_t>(8, static_cast<std::size_t>(wide_ / (0.5 * size_mm)));
    std::istringstream words(text);
    std::string line;
    const auto flush = [&] {
      at_ -= 1.3 * size_mm;
      page_.text(line, left_, at_, size_mm, bold);
      line.clear();
    };
    for (std::string word; words >> word;) {
      if (!line.empty() && line.size() + 1 + word.size() > most) flush();
      line += (line.empty() ? "" : " ") + word;
    }
    if (!line.empty()) flush();
  }
  void space(double mm) { at_ -= mm; }
  [[nodiscard]] double at() const { return at_; }

 private:
  PdfPage& page_;
  double left_, at_, wide_;
};

void draw_scale_bar(PdfPage& page, int scale, double left, double bottom, double most_mm) {
  const double length_m = scale_bar_length_m(most_mm * 1e-3 * scale, 1.0), length_mm = length_m * 1e3 / scale;
  for (int part = 0; part < 4; ++part)
    page.rectangle(left + length_mm * part / 4, bottom, length_mm / 4, 2, part % 2 == 0);
  page.text("0", left, bottom + 3, 2.8);
  page.text(fmt::format("{:g} m", length_m), left + length_mm - 2, bottom + 3, 2.8);
}

void draw_north_arrow(PdfPage& page, double x, double bottom) {
  page.polygon({{x, bottom + 12}, {x + 3, bottom}, {x, bottom + 3}, {x - 3, bottom}});
  page.text("N", x - 1.3, bottom + 13, 3.6, true);
}

std::string place_in_words(const Canvas& canvas) {
  if (!canvas.geotransform) return {};
  const auto& g = *canvas.geotransform;
  const double x = g[0] + 0.5 * canvas.width_px * g[1] + 0.5 * canvas.height_px * g[2];
  const double y = g[3] + 0.5 * canvas.width_px * g[4] + 0.5 * canvas.height_px * g[5];
  return canvas.crs ? fmt::format("{}, middle {:.0f} E {:.0f} N", *canvas.crs, x, y)
                    : std::string("Local coordinates in metres");
}

void draw_panel(PdfPage& page, const SheetLayout& layout, const Canvas& canvas, const PrintText& text,
                int scale, const std::string& sheet) {
  constexpr const char* kCaution =
      "Made from pictures taken from the air; not a licensed survey. What stands above the plane leans.";
  const Box& panel = layout.panel;
  const double top = panel.bottom + panel.high;
  const std::string scale_words = fmt::format("1 : {} at 100 %, {}", scale, scale_in_words(scale));
  std::string made = fmt::format("{} frames", text.frames);
  if (canvas.gsd_m) made += fmt::format(", {:.3g} mm a pixel", 1e3 * *canvas.gsd_m);
  if (layout.panel_at_side) {
    Lines lines(page, panel.left, top, panel.wide);
    lines.add(text.title, 6, true);
    lines.space(1);
    lines.add(text.days, 4);
    lines.add(place_in_words(canvas), 3);
    lines.space(5);
    lines.add(fmt::format("1 : {}", scale), 6, true);
    lines.add(scale_in_words(scale) + ", when printed at 100 %", 3);
    lines.space(9);
    draw_scale_bar(page, scale, panel.left, lines.at(), panel.wide - 8);
    lines.space(4);
    if (text.north_known) {
      lines.space(18);
      draw_north_arrow(page, panel.left + 4, lines.at());
    }
    lines.space(5);
    lines.add(sheet, 3, true);
    lines.add(made, 3);
    lines.add(text.accuracy, 2.8);
    lines.space(2);
    page.ink(kNoteGrey);
    lines.add(kCaution, 2.4);
    page.ink(kBlack);
    return;
  }
  const double bar_mm = 50, right = panel.left + panel.wide, words_wide = panel.wide - bar_mm - 25;
  Lines lines(page, panel.left, top, words_wide);
  lines.add(text.title + (text.days.empty() ? "" : "   " + text.days), 4.5, true);
  lines.add(place_in_words(canvas) + "   " + made + (sheet.empty() ? "" : "   " + sheet), 2.8);
  lines.add(text.accuracy, 2.6);
  page.ink(kNoteGrey);
  lines.add(kCaution, 2.3);
  page.ink(kBlack);
  const double bar_left = right - bar_mm - 15;
  page.text(scale_words, bar_left, top - 5, 3, true);
  draw_scale_bar(page, scale, bar_left, top - 17, bar_mm - 8);
  if (text.north_known) draw_north_arrow(page, right - 5, top - 20);
}

/// Lines of round coordinates over the map frame, labelled at its left and lower edge.
void draw_grid(PdfPage& page, const Box& map, const Canvas& canvas, const Box& picture, const cv::Rect& area,
               double mm_per_px, int scale) {
  if (!canvas.geotransform) return;
  const auto& g = *canvas.geotransform;
  if (g[2] != 0 || g[4] != 0) return;  // a turned grid has no upright lines
  const double step = grid_step_m(scale, kGridLeastMm), mm_per_m = 1e3 / scale;
  const double x_left = g[0] + g[1] * (area.x - (picture.left - map.left) / mm_per_px);
  const double y_bottom = g[3] + g[5] * (area.y + area.height + (picture.bottom - map.bottom) / mm_per_px);
  constexpr double kLetterMm = 2.2;
  for (double x = std::ceil(x_left / step) * step; (x - x_left) * mm_per_m <= map.wide; x += step) {
    const double at = map.left + (x - x_left) * mm_per_m;
    page.ink(kGridGrey);
    page.line(at, map.bottom, at, map.bottom + map.high, 0.1);
    page.ink(kBlack);
    page.text(fmt::format("{:g}", std::round(x * 100) / 100), at - 2, map.bottom - 3, kLetterMm);
  }
  for (double y = std::ceil(y_bottom / step) * step; (y - y_bottom) * mm_per_m <= map.high; y += step) {
    const double at = map.bottom + (y - y_bottom) * mm_per_m;
    page.ink(kGridGrey);
    page.line(map.left, at, map.left + map.wide, at, 0.1);
    page.ink(kBlack);
    page.text_upwards(fmt::format("{:g}", std::round(y * 100) / 100), map.left - 1, at - 2, kLetterMm);
  }
}

}  // namespace

int fitting_scale(double width_m, double height_m, double room_wide_mm, double room_high_mm) {
  const double least = std::max(width_m * 1e3 / room_wide_mm, height_m * 1e3 / room_high_mm);
  for (double decade = 10;; decade *= 10)
    for (const double step : {1.0, 1.25, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5})
      if (step * decade >= std::max(least, 20.0) - 1e-9) return static_cast<int>(std::lround(step * decade));
}

std::string scale_in_words(int scale) {
  return fmt::format("1 cm = {:g} m", scale / 100.0);
}

double grid_step_m(int scale, double least_mm) {
  const double least_m = least_mm * 1e-3 * scale;
  for (double decade = std::pow(10, std::floor(std::log10(least_m)));; decade *= 10)
    for (const double step : {1.0, 2.0, 5.0})
      if (step * decade >= least_m) return step * decade;
}

std::string print_sheet(const Canvas& canvas, const ReadArea& read, const PrintText& text,
                        const std::string& paper_name, int given_scale) {
  const double gsd_m = canvas.gsd_m.value_or(1);
  const auto [layout, scale] = choose_layout(canvas, gsd_m, paper_name, given_scale);
  const Box& map = layout.map;
  const double mm_per_px = gsd_m * 1e3 / scale;
  // A fitting scale may fit to the last digit; rounding must not make a second sheet of it.
  const int wide_px = std::max(1, static_cast<int>(map.wide / mm_per_px + 1e-6)),
            high_px = std::max(1, static_cast<int>(map.high / mm_per_px + 1e-6));
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
      Box picture{map.left, map.bottom + map.high - area.height * mm_per_px, area.width * mm_per_px,
                  area.height * mm_per_px};
      if (rows * columns == 1) {
        picture.left = map.left + 0.5 * (map.wide - picture.wide);
        picture.bottom = map.bottom + 0.5 * (map.high - picture.high);
      }
      PdfPage page(layout.paper_wide_mm, layout.paper_high_mm);
      page.picture(jpeg_on_white(read(area, size)), size.width, size.height, picture.left, picture.bottom,
                   picture.wide, picture.high);
      draw_grid(page, map, canvas, picture, area, mm_per_px, scale);
      page.rectangle(map.left, map.bottom, map.wide, map.high, false);
      const std::string sheet = rows * columns > 1
                                    ? fmt::format("sheet {} of {} (row {}, column {})", pages.size() + 1,
                                                  rows * columns, row + 1, column + 1)
                                    : "";
      draw_panel(page, layout, canvas, text, scale, sheet);
      pages.push_back(std::move(page));
    }
  return pdf_document(pages);
}

}  // namespace lookdown::mosaic
