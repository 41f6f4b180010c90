#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <sstream>

#include "pipeline/base/files/csv.h"
#include "stages/measure/measure.h"

namespace lookdown::measure {
namespace {

using nlohmann::json;

double number(const std::string& text, const std::string& where) {
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size() || !std::isfinite(value))
    throw InputError(fmt::format("{}: '{}' is not a number", where, text));
  return value;
}

std::size_t least_corners(Kind kind) {
  return kind == Kind::point ? 1 : kind == Kind::line ? 2 : 3;
}

double side_of(const Corner& a, const Corner& b, const Corner& p) {
  return (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x);
}

bool cross(const Corner& a, const Corner& b, const Corner& c, const Corner& d) {
  return side_of(a, b, c) * side_of(a, b, d) < 0 && side_of(c, d, a) * side_of(c, d, b) < 0;
}

bool crosses_itself(const std::vector<Corner>& corners) {
  const std::size_t count = corners.size();
  for (std::size_t i = 0; i < count; ++i)
    for (std::size_t j = i + 2; j < count; ++j)
      if (cross(corners[i], corners[i + 1], corners[j], corners[(j + 1) % count])) return true;
  return false;
}

void check(const Shape& shape, const std::string& where) {
  if (shape.corners.size() < least_corners(shape.kind))
    throw InputError(fmt::format("{}: {} '{}' has {} corner{}; it needs at least {}", where, word(shape.kind),
                                 shape.name, shape.corners.size(), shape.corners.size() == 1 ? "" : "s",
                                 least_corners(shape.kind)));
  if (shape.kind == Kind::area && crosses_itself(shape.corners))
    throw InputError(fmt::format("{}: the outline of area '{}' crosses itself; give its corners in turn",
                                 where, shape.name));
}

Shape shape_from_words(const std::string& text, Kind kind, int serial) {
  Shape shape{fmt::format("{} {}", word(kind), serial), kind, {}};
  std::istringstream words(text);
  for (std::string corner; words >> corner;) {
    const std::size_t comma = corner.find(',');
    if (comma == std::string::npos)
      throw InputError(
          fmt::format("--{} \"{}\": corners are written as x,y with a blank between them", word(kind), text));
    const std::string where = fmt::format("--{} \"{}\"", word(kind), text);
    shape.corners.push_back(
        {number(corner.substr(0, comma), where), number(corner.substr(comma + 1), where)});
  }
  check(shape, fmt::format("--{} \"{}\"", word(kind), text));
  return shape;
}

Kind kind_from(const std::string& text, const std::string& where) {
  for (const Kind kind : {Kind::point, Kind::line, Kind::area})
    if (text == word(kind)) return kind;
  throw InputError(fmt::format("{}: kind '{}' is not point, line or area", where, text));
}

std::vector<Corner> corners_of(const json& positions) {
  std::vector<Corner> corners;
  for (const json& position : positions) corners.push_back({position.at(0), position.at(1)});
  return corners;
}

void add_geometry(const json& geometry, const std::string& name, std::vector<Shape>& shapes) {
  const std::string type = geometry.at("type");
  const json& positions = geometry.value("coordinates", json::array());
  if (type == "Point") {
    shapes.push_back({name, Kind::point, {{positions.at(0), positions.at(1)}}});
  } else if (type == "LineString") {
    shapes.push_back({name, Kind::line, corners_of(positions)});
  } else if (type == "Polygon") {
    if (positions.size() > 1)
      throw InputError(
          fmt::format("'{}': areas with holes are not measured; give outline and hole apart", name));
    std::vector<Corner> corners = corners_of(positions.at(0));
    if (corners.size() > 1 && corners.front().x == corners.back().x && corners.front().y == corners.back().y)
      corners.pop_back();
    shapes.push_back({name, Kind::area, corners});
  } else if (type == "GeometryCollection") {
    for (const json& part : geometry.at("geometries")) add_geometry(part, name, shapes);
  } else {
    throw InputError(fmt::format("'{}': geometry of type {} is not measured", name, type));
  }
}

void add_feature(const json& item, std::vector<Shape>& shapes) {
  const std::string type = item.at("type");
  if (type == "FeatureCollection") {
    for (const json& feature : item.at("features")) add_feature(feature, shapes);
    return;
  }
  std::string name = fmt::format("shape {}", shapes.size() + 1);
  if (type != "Feature") return add_geometry(item, name, shapes);
  if (item.contains("properties") && item["properties"].is_object() && item["properties"].contains("name") &&
      item["properties"]["name"].is_string())
    name = item["properties"]["name"];
  if (!item.at("geometry").is_null()) add_geometry(item["geometry"], name, shapes);
}

}  // namespace

const char* word(Kind kind) {
  return kind == Kind::point ? "point" : kind == Kind::line ? "line" : "area";
}

std::vector<Shape> shapes_from_csv(const std::string& text, const std::string& file) {
  std::vector<Shape> shapes;
  std::vector<bool> kind_given;
  try {
    const CsvTable table = CsvTable::parse(text, file, {"x", "y"});
    for (std::size_t row = 0; row < table.rows(); ++row) {
      const std::string name = table.has("name") ? table.text(row, "name") : fmt::format("point {}", row + 1);
      const std::string kind = table.has("kind") ? table.text(row, "kind") : "";
      if (shapes.empty() || shapes.back().name != name) {
        shapes.push_back({name, kind.empty() ? Kind::point : kind_from(kind, table.where(row)), {}});
        kind_given.push_back(!kind.empty());
      }
      shapes.back().corners.push_back({table.number(row, "x"), table.number(row, "y")});
    }
  } catch (const std::runtime_error& error) {
    throw InputError(error.what());
  }
  for (std::size_t i = 0; i < shapes.size(); ++i) {
    if (!kind_given[i] && shapes[i].corners.size() > 1) shapes[i].kind = Kind::line;
    check(shapes[i], file);
  }
  return shapes;
}

std::vector<Shape> shapes_from_geojson(const std::string& text, const std::string& file) {
  std::vector<Shape> shapes;
  try {
    add_feature(json::parse(text), shapes);
  } catch (const json::exception& error) {
    throw InputError(fmt::format("{}: is not GeoJSON: {}", file, error.what()));
  }
  for (const Shape& shape : shapes) check(shape, file);
  return shapes;
}

std::vector<Shape> shapes_of(const Options& options) {
  std::vector<Shape> shapes;
  const auto add = [&](const std::vector<std::string>& texts, Kind kind) {
    int serial = 0;
    for (const std::string& text : texts) shapes.push_back(shape_from_words(text, kind, ++serial));
  };
  add(options.points, Kind::point);
  add(options.lines, Kind::line);
  add(options.areas, Kind::area);
  if (options.shapes_file.empty()) return shapes;
  std::ifstream file(options.shapes_file, std::ios::binary);
  if (!file) throw InputError(options.shapes_file + ": cannot be opened");
  const std::string text{std::istreambuf_iterator<char>(file), {}};
  const std::size_t first = text.find_first_not_of(" \t\r\n");
  const bool is_json = first != std::string::npos && text[first] == '{';
  for (Shape& shape :
       is_json ? shapes_from_geojson(text, options.shapes_file) : shapes_from_csv(text, options.shapes_file))
    shapes.push_back(std::move(shape));
  return shapes;
}

}  // namespace lookdown::measure
