#include <fmt/format.h>

#include <algorithm>

#include "stages/plan/plan.h"

namespace lookdown::plan {
namespace {

constexpr double kLeft = 60, kTop = 50, kWidth = 800, kHeight = 360;

double across(double minute) {
  return kLeft + kWidth * minute / (24 * 60);
}
double down(double elevation_deg) {
  return kTop + kHeight * (1 - elevation_deg / 90);
}

// Blue to orange reads in every common kind of colour blindness; the words of the key carry the same message.
const char* colour(Glint glint) {
  switch (glint) {
    case Glint::out_of_frame:
      return "#2b6cb0";
    case Glint::glitter_at_edge:
      return "#7fb0d8";
    case Glint::out_if_turned:
      return "#f0b354";
    case Glint::in_frame:
      return "#c2410c";
    case Glint::none:
      return "#9aa3ad";
  }
  return "#9aa3ad";
}

std::string text(double x, double y, const char* anchor, const std::string& words) {
  return fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"{}\">{}</text>\n", x, y, anchor, words);
}

std::string escaped(const std::string& words) {
  std::string out;
  for (const char c : words) {
    if (c == '<')
      out += "&lt;";
    else if (c == '>')
      out += "&gt;";
    else if (c == '&')
      out += "&amp;";
    else
      out += c;
  }
  return out;
}

std::string axes() {
  std::string out;
  for (int elevation = 0; elevation <= 90; elevation += 15) {
    out += fmt::format("<line x1=\"{:.1f}\" x2=\"{:.1f}\" y1=\"{:.1f}\" y2=\"{:.1f}\" stroke=\"#d8dde3\"/>\n",
                       kLeft, kLeft + kWidth, down(elevation), down(elevation));
    out += text(kLeft - 8, down(elevation) + 4, "end", fmt::format("{}\u00b0", elevation));
  }
  for (int hour = 0; hour <= 24; hour += 3)
    out += text(across(hour * 60), kTop + kHeight + 20, "middle", fmt::format("{:02}:00", hour));
  return out;
}

std::string key() {
  std::string out;
  double x = kLeft;
  for (const Glint glint :
       {Glint::out_of_frame, Glint::glitter_at_edge, Glint::out_if_turned, Glint::in_frame}) {
    out += fmt::format("<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"14\" height=\"14\" fill=\"{}\"/>\n", x,
                       kTop + kHeight + 36, colour(glint));
    out += text(x + 20, kTop + kHeight + 48, "start", word(glint));
    x += 170;
  }
  return out;
}

}  // namespace

std::string svg_of(const Plan& plan) {
  const Options& o = plan.options;
  std::string out = fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" "
      "width=\"{0}\" height=\"{1}\" "
      "viewBox=\"0 0 {0} {1}\" font-family=\"sans-serif\" font-size=\"13\" fill=\"#222\">\n<rect "
      "width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n",
      kLeft + kWidth + 40, kTop + kHeight + 70);
  const std::string clock = o.utc_offset_h ? fmt::format("UTC{:+g} h", *o.utc_offset_h) : "UTC";
  out += text(
      kLeft, 28, "start",
      escaped(fmt::format(
          "Sun elevation on {} at {:.4f}, {:.4f} ({}), glint in a straight-down frame of {:.0f} x {:.0f} deg",
          o.date, o.lat_deg.value_or(0), o.lon_deg.value_or(0), clock, plan.shot.field_width_deg,
          plan.shot.field_height_deg)));
  out += axes();
  const double step = o.step_min;
  for (const Row& row : plan.rows) {
    const double x = across(std::max(0.0, row.minute_of_day - 0.5 * step)),
                 right = across(std::min(1440.0, row.minute_of_day + 0.5 * step));
    const double y = down(std::clamp(row.sun.elevation_deg, 0.0, 90.0));
    out += fmt::format("<rect x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" fill=\"{}\"/>\n",
                       x, y, right - x, down(0) - y, colour(row.glint));
  }
  if (o.surface == "water") {
    const double y = down(std::clamp(plan.shot.clear_below_elevation_deg, 0.0, 90.0));
    out += fmt::format(
        "<line x1=\"{:.1f}\" x2=\"{:.1f}\" y1=\"{:.1f}\" y2=\"{:.1f}\" stroke=\"#222\" stroke-dasharray=\"6 "
        "4\"/>\n",
        kLeft, kLeft + kWidth, y, y);
    // Above the plot: inside it, bars would run through the words.
    out += text(kLeft + kWidth, kTop - 8, "end",
                "sun below the dashed line: mirror image out of the frame at any heading");
    out += key();
  }
  return out + "</svg>\n";
}

}  // namespace lookdown::plan
