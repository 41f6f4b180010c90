#include "stages/mosaic/output/print/pdf_document.h"

#include <fmt/format.h>

#include <cstddef>

namespace lookdown::mosaic {
namespace {

constexpr double kPointsPerMm = 72 / 25.4;

/// Latin-1 from UTF-8, with the characters escaped that end a PDF string.
std::string pdf_string(std::string_view utf8) {
  std::string out;
  for (std::size_t i = 0; i < utf8.size(); ++i) {
    const auto byte = static_cast<unsigned char>(utf8[i]);
    if (byte < 0x80) {
      if (byte == '(' || byte == ')' || byte == '\\') out += '\\';
      out += byte < 0x20 ? ' ' : static_cast<char>(byte);
    } else if ((byte & 0xFC) == 0xC0 && i + 1 < utf8.size()) {
      out += static_cast<char>(((byte & 0x03) << 6) | (static_cast<unsigned char>(utf8[++i]) & 0x3F));
    } else {
      out += '?';
      while (i + 1 < utf8.size() && (static_cast<unsigned char>(utf8[i + 1]) & 0xC0) == 0x80) ++i;
    }
  }
  return out;
}

/// Objects of a file with their places, as the cross-reference table wants them.
class PdfBytes {
 public:
  PdfBytes() : bytes_("%PDF-1.4\n%\xE2\xE3\xCF\xD3\n") {}
  int reserve() {
    starts_.push_back(0);
    return static_cast<int>(starts_.size());
  }
  void object(int number, const std::string& body) {
    starts_[number - 1] = bytes_.size();
    bytes_ += fmt::format("{} 0 obj\n", number) + body + "\nendobj\n";
  }
  int object(const std::string& body) {
    const int number = reserve();
    object(number, body);
    return number;
  }
  int stream(const std::string& entries, const std::string& content) {
    return object(fmt::format("<< {} /Length {} >>\nstream\n", entries, content.size()) + content +
                  "\nendstream");
  }
  std::string finish(int catalogue) {
    const std::size_t table = bytes_.size();
    bytes_ += fmt::format("xref\n0 {}\n0000000000 65535 f \n", starts_.size() + 1);
    for (const std::size_t start : starts_) bytes_ += fmt::format("{:010} 00000 n \n", start);
    bytes_ += fmt::format("trailer\n<< /Size {} /Root {} 0 R >>\nstartxref\n{}\n%%EOF\n", starts_.size() + 1,
                          catalogue, table);
    return std::move(bytes_);
  }

 private:
  std::string bytes_;
  std::vector<std::size_t> starts_;
};

}  // namespace

void PdfPage::picture(std::string jpeg, int width_px, int height_px, double left_mm, double bottom_mm,
                      double wide_mm, double high_mm) {
  content_ +=
      fmt::format("q {:.4f} 0 0 {:.4f} {:.4f} {:.4f} cm /Im{} Do Q\n", wide_mm * kPointsPerMm,
                  high_mm * kPointsPerMm, left_mm * kPointsPerMm, bottom_mm * kPointsPerMm, pictures_.size());
  pictures_.push_back({std::move(jpeg), width_px, height_px});
}

void PdfPage::rectangle(double left_mm, double bottom_mm, double wide_mm, double high_mm, bool filled) {
  content_ +=
      fmt::format("{:.4f} {:.4f} {:.4f} {:.4f} re {}\n", left_mm * kPointsPerMm, bottom_mm * kPointsPerMm,
                  wide_mm * kPointsPerMm, high_mm * kPointsPerMm, filled ? "f" : "S");
}

void PdfPage::polygon(const std::vector<std::pair<double, double>>& corners_mm) {
  const char* step = "m";
  for (const auto& [x, y] : corners_mm) {
    content_ += fmt::format("{:.4f} {:.4f} {} ", x * kPointsPerMm, y * kPointsPerMm, step);
    step = "l";
  }
  content_ += "h f\n";
}

void PdfPage::text(std::string_view text, double left_mm, double baseline_mm, double size_mm, bool bold) {
  content_ += fmt::format("BT /F{} {:.3f} Tf {:.4f} {:.4f} Td (", bold ? 1 : 0, size_mm * kPointsPerMm,
                          left_mm * kPointsPerMm, baseline_mm * kPointsPerMm) +
              pdf_string(text) + ") Tj ET\n";
}

void PdfPage::text_upwards(std::string_view text, double baseline_mm, double bottom_mm, double size_mm) {
  content_ += fmt::format("BT /F0 {:.3f} Tf 0 1 -1 0 {:.4f} {:.4f} Tm (", size_mm * kPointsPerMm,
                          baseline_mm * kPointsPerMm, bottom_mm * kPointsPerMm) +
              pdf_string(text) + ") Tj ET\n";
}

void PdfPage::line(double from_x_mm, double from_y_mm, double to_x_mm, double to_y_mm, double wide_mm) {
  content_ += fmt::format("q {:.4f} w {:.4f} {:.4f} m {:.4f} {:.4f} l S Q\n", wide_mm * kPointsPerMm,
                          from_x_mm * kPointsPerMm, from_y_mm * kPointsPerMm, to_x_mm * kPointsPerMm,
                          to_y_mm * kPointsPerMm);
}

void PdfPage::ink(double grey) {
  content_ += fmt::format("{0:.3f} g {0:.3f} G\n", grey);
}

std::string pdf_document(const std::vector<PdfPage>& pages) {
  PdfBytes file;
  const int tree = file.reserve();
  const auto font = [&](const char* name) {
    return file.object(
        fmt::format("<< /Type /Font /Subtype /Type1 /BaseFont /{} /Encoding /WinAnsiEncoding >>", name));
  };
  const int plain = font("Helvetica"), bold = font("Helvetica-Bold");
  std::string kids;
  for (const PdfPage& page : pages) {
    std::string pictures;
    for (std::size_t i = 0; i < page.pictures_.size(); ++i) {
      const auto& picture = page.pictures_[i];
      const int number = file.stream(
          fmt::format("/Type /XObject /Subtype /Image /Width {} /Height {} /ColorSpace /DeviceRGB "
                      "/BitsPerComponent 8 /Filter /DCTDecode",
                      picture.width_px, picture.height_px),
          picture.jpeg);
      pictures += fmt::format("/Im{} {} 0 R ", i, number);
    }
    const int content = file.stream("", page.content_);
    const int number = file.object(fmt::format(
        "<< /Type /Page /Parent {} 0 R /MediaBox [0 0 {:.4f} {:.4f}] /Contents {} 0 R /Resources "
        "<< /Font << /F0 {} 0 R /F1 {} 0 R >> /XObject << {}>> >> >>",
        tree, page.width_mm_ * kPointsPerMm, page.height_mm_ * kPointsPerMm, content, plain, bold, pictures));
    kids += fmt::format("{} 0 R ", number);
  }
  file.object(tree, fmt::format("<< /Type /Pages /Kids [{}] /Count {} >>", kids, pages.size()));
  // Printing dialogs scale to fit unless the document asks them not to: a true scale must survive the
  // printer.
  const int catalogue = file.object(
      fmt::format("<< /Type /Catalog /Pages {} 0 R /ViewerPreferences << /PrintScaling /None >> >>", tree));
  return file.finish(catalogue);
}

}  // namespace lookdown::mosaic
