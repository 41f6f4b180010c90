// A small writer of PDF pages: a picture, lines, filled shapes and text in the standard fonts. ISO
// 32000-1:2008; no time stamp, so the same content gives the same bytes.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace lookdown::mosaic {

/// One page; lengths in millimetres from its lower left corner.
class PdfPage {
 public:
  PdfPage(double width_mm, double height_mm) : width_mm_(width_mm), height_mm_(height_mm) {}
  /// A JPEG file (baseline, 3 channels, of the given size in pixels) stretched over the rectangle.
  void picture(std::string jpeg, int width_px, int height_px, double left_mm, double bottom_mm,
               double wide_mm, double high_mm);
  void rectangle(double left_mm, double bottom_mm, double wide_mm, double high_mm, bool filled);
  void line(double from_x_mm, double from_y_mm, double to_x_mm, double to_y_mm, double wide_mm);
  /// Grey of what is drawn from now on: 0 black, 1 white.
  void ink(double grey);
  /// Closed and filled.
  void polygon(const std::vector<std::pair<double, double>>& corners_mm);
  /// Helvetica; characters outside Latin-1 become '?'. `text` is UTF-8.
  void text(std::string_view text, double left_mm, double baseline_mm, double size_mm, bool bold = false);
  /// The same, reading upwards.
  void text_upwards(std::string_view text, double baseline_mm, double bottom_mm, double size_mm);

 private:
  friend std::string pdf_document(const std::vector<PdfPage>&);
  struct Picture {
    std::string jpeg;
    int width_px, height_px;
  };
  double width_mm_, height_mm_;
  std::vector<Picture> pictures_;
  std::string content_;
};

/// The bytes of a document.
[[nodiscard]] std::string pdf_document(const std::vector<PdfPage>& pages);

}  // namespace lookdown::mosaic
