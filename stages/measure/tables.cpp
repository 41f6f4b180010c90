#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "pipeline/base/files/csv.h"
#include "stages/measure/measure.h"

namespace lookdown::measure {
namespace {

/// Rounded to the second digit of its standard deviation, or to five digits when there is none.
std::string with_sigma(const Value& value, const std::string& unit) {
  if (!value.sigma || *value.sigma <= 0)
    return fmt::format("{:.5g} {} (accuracy not known)", value.value, unit);
  const int digits = std::clamp(1 - static_cast<int>(std::floor(std::log10(*value.sigma))), 0, 9);
  return fmt::format("{:.{}f} +- {:.{}f} {}", value.value, digits, *value.sigma, digits, unit);
}

std::string unit_of(const Ground& ground) {
  return ground.metric ? "m" : "px";
}

template <class Number>
std::string cell(const std::optional<Number>& number) {
  return number ? fmt::format("{:.9g}", *number) : "";
}

nlohmann::json json_value(const std::optional<Value>& value) {
  if (!value) return nullptr;
  return {{"value", value->value},
          {"sigma", value->sigma ? nlohmann::json(*value->sigma) : nlohmann::json(nullptr)}};
}

}  // namespace

std::string text_of(const std::vector<Measured>& measured, const Ground& ground) {
  const std::string unit = unit_of(ground);
  std::string text;
  for (const Measured& m : measured) {
    text += m.shape.name + ": ";
    if (m.shape.kind == Kind::point) {
      text += fmt::format("x {:.3f} y {:.3f} {}, pixel {:.1f}, {:.1f}", m.shape.corners[0].x,
                          m.shape.corners[0].y, unit, m.corners_px[0].x, m.corners_px[0].y);
      if (m.point_sigma)
        text += fmt::format(", +- {:.2g} {} each way{}", *m.point_sigma, unit,
                            ground.datum_sigma ? "" : " against other spots of the mosaic");
    }
    if (m.area) text += "area " + with_sigma(*m.area, unit + "2") + ", outline ";
    if (m.length) text += (m.area ? "" : "length ") + with_sigma(*m.length, unit);
    text += '\n';
  }
  if (!measured.empty())
    text += ground.point_sigma_from.empty()
                ? "Nothing is known of the accuracy.\n"
                : fmt::format("Accuracy (one standard deviation) from {}.\n", ground.point_sigma_from);
  if (!measured.empty() && !ground.metric) text += "The scale is not known: lengths are in mosaic pixels.\n";
  if (!measured.empty())
    text += "True on the plane of the mosaic only: what stands above it leans outward.\n";
  return text;
}

std::string csv_of(const std::vector<Measured>& measured, const Ground& ground) {
  const std::string unit = ground.metric ? "m" : "px";
  std::string text = fmt::format(
      "name,kind,corners,x_{0},y_{0},point_sigma_{0},length_{0},length_sigma_{0},area_{0}2,area_sigma_{0}2,"
      "on_mosaic\n",
      unit);
  for (const Measured& m : measured) {
    const auto value = [](const std::optional<Value>& v) {
      return v ? std::optional<double>(v->value) : std::nullopt;
    };
    const auto sigma = [](const std::optional<Value>& v) { return v ? v->sigma : std::nullopt; };
    text +=
        fmt::format("{},{},{},{:.4f},{:.4f},{},{},{},{},{},{}\n", csv_cell(m.shape.name), word(m.shape.kind),
                    m.shape.corners.size(), m.shape.corners[0].x, m.shape.corners[0].y, cell(m.point_sigma),
                    cell(value(m.length)), cell(sigma(m.length)), cell(value(m.area)), cell(sigma(m.area)),
                    m.on_mosaic ? "yes" : "no");
  }
  return text;
}

std::string json_of(const std::vector<Measured>& measured, const Ground& ground) {
  nlohmann::json shapes = nlohmann::json::array();
  for (const Measured& m : measured) {
    nlohmann::json corners = nlohmann::json::array(), pixels = nlohmann::json::array();
    for (const Corner& corner : m.shape.corners) corners.push_back({corner.x, corner.y});
    for (const Corner& corner : m.corners_px) pixels.push_back({corner.x, corner.y});
    shapes.push_back(
        {{"name", m.shape.name},
         {"kind", word(m.shape.kind)},
         {"corners", corners},
         {"corners_px", pixels},
         {"on_mosaic", m.on_mosaic},
         {"point_sigma", m.point_sigma ? nlohmann::json(*m.point_sigma) : nlohmann::json(nullptr)},
         {"length", json_value(m.length)},
         {"area", json_value(m.area)}});
  }
  return nlohmann::json{{"unit", ground.metric ? "m" : "px"},
                        {"crs", ground.crs.empty() ? nlohmann::json(nullptr) : nlohmann::json(ground.crs)},
                        {"accuracy_from", ground.point_sigma_from},
                        {"shapes", shapes}}
             .dump(1) +
         "\n";
}

std::string csv_of(const std::vector<GsdSpot>& spots) {
  std::string text = "x,y,file,gsd\n";
  for (const GsdSpot& spot : spots)
    text +=
        fmt::format("{:.4f},{:.4f},{},{:.6g}\n", spot.ground.x, spot.ground.y, csv_cell(spot.file), spot.gsd);
  return text;
}

std::string text_of(const std::vector<GsdSpot>& spots, const Ground& ground) {
  if (spots.empty()) return "No frame is shown at any spot of the profile.\n";
  std::vector<double> sizes;
  sizes.reserve(spots.size());
  for (const GsdSpot& spot : spots) sizes.push_back(spot.gsd);
  std::sort(sizes.begin(), sizes.end());
  const double factor = ground.metric ? 1000 : 1;
  return fmt::format(
      "A frame pixel is {:.3g} to {:.3g} {} on the ground, half of the mosaic at most {:.3g} ({} spots).\n",
      sizes.front() * factor, sizes.back() * factor, ground.metric ? "mm" : "px",
      sizes[sizes.size() / 2] * factor, sizes.size());
}

}  // namespace lookdown::measure
