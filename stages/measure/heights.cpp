#include <fmt/format.h>
#include <gdal_priv.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <memory>
#include <nlohmann/json.hpp>

#include "pipeline/base/files/csv.h"
#include "stages/measure/measure.h"

namespace lookdown::measure {
namespace {

// A node of a grid, and how far beyond it a place lies, 0..1 each way.
struct NodePlace {
  int column, row;
  double right, down;
};

std::optional<NodePlace> node_place(const Heights& heights, const Corner& ground) {
  const double x = (ground.x - heights.x0) / heights.x_step, y = (ground.y - heights.y0) / heights.y_step;
  // Half a node of rim is carried on from the outermost nodes: the mosaic's edge lies there.
  if (!(x >= -0.5 && y >= -0.5 && x <= heights.columns - 0.5 && y <= heights.rows - 0.5)) return std::nullopt;
  const double column = std::clamp(std::floor(x), 0.0, heights.columns - 2.0),
               row = std::clamp(std::floor(y), 0.0, heights.rows - 2.0);
  return NodePlace{static_cast<int>(column), static_cast<int>(row), std::clamp(x - column, 0.0, 1.0),
                   std::clamp(y - row, 0.0, 1.0)};
}

std::optional<double> check_height_sigma(const std::filesystem::path& out) {
  std::ifstream file(out / "placement.json");
  const nlohmann::json placement = nlohmann::json::parse(file, nullptr, false);
  if (!placement.is_object() || !placement.contains("accuracy")) return std::nullopt;
  const nlohmann::json& accuracy = placement["accuracy"];
  if (!accuracy.is_object() || !accuracy.contains("check_rmse_z_m") ||
      !accuracy["check_rmse_z_m"].is_number())
    return std::nullopt;
  return accuracy["check_rmse_z_m"].get<double>();
}

double distance(const Corner& a, const Corner& b) {
  return std::hypot(b.x - a.x, b.y - a.y);
}

Corner between(const Corner& a, const Corner& b, double share) {
  return {a.x + share * (b.x - a.x), a.y + share * (b.y - a.y)};
}

// Even-odd rule.
bool inside(const std::vector<Corner>& outline, const Corner& p) {
  bool in = false;
  for (std::size_t i = 0, j = outline.size() - 1; i < outline.size(); j = i++) {
    const Corner &a = outline[i], &b = outline[j];
    if ((a.y > p.y) != (b.y > p.y) && p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x) in = !in;
  }
  return in;
}

/// z = c0 + c1 x + c2 y that fits the outline's corners best, x and y from the first of them.
std::optional<Eigen::Vector3d> plane_through(const std::vector<Corner>& outline, const Heights& heights) {
  Eigen::MatrixXd places(static_cast<Eigen::Index>(outline.size()), 3);
  Eigen::VectorXd z(static_cast<Eigen::Index>(outline.size()));
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const auto height = heights.at(outline[i]);
    if (!height) return std::nullopt;
    const auto row = static_cast<Eigen::Index>(i);
    places.row(row) << 1, outline[i].x - outline[0].x, outline[i].y - outline[0].y;
    z(row) = *height;
  }
  return places.colPivHouseholderQr().solve(z);
}

std::string percent(double share) {
  return fmt::format("{:.0f} %", 100 * share);
}

}  // namespace

std::optional<double> Heights::at(const Corner& ground) const {
  const auto place = node_place(*this, ground);
  if (!place) return std::nullopt;
  const float* node = &metres[static_cast<std::size_t>(place->row) * columns + place->column];
  const double above = node[0] + place->right * (node[1] - node[0]),
               below = node[columns] + place->right * (node[columns + 1] - node[columns]);
  return above + place->down * (below - above);
}

bool Heights::measured_at(const Corner& ground) const {
  const auto place = node_place(*this, ground);
  if (!place) return false;
  const int column = place->column + (place->right > 0.5), row = place->row + (place->down > 0.5);
  return agreeing[static_cast<std::size_t>(row) * columns + column] > 0;
}

std::optional<Heights> open_heights(const std::filesystem::path& out) {
  const std::filesystem::path path = out / "surface.tif";
  if (!std::filesystem::exists(path)) return std::nullopt;
  GDALAllRegister();
  const GDALDatasetUniquePtr file(GDALDataset::Open(path.c_str(), GDAL_OF_RASTER));
  if (!file || file->GetRasterCount() < 2 || file->GetRasterXSize() < 2 || file->GetRasterYSize() < 2)
    throw InputError(path.string() + ": cannot be read; run again");
  double transform[6];
  if (file->GetGeoTransform(transform) != CE_None) return std::nullopt;  // no scale, no metres
  Heights heights;
  heights.columns = file->GetRasterXSize();
  heights.rows = file->GetRasterYSize();
  heights.x_step = transform[1], heights.y_step = transform[5];
  heights.x0 = transform[0] + 0.5 * transform[1], heights.y0 = transform[3] + 0.5 * transform[5];
  const auto nodes = static_cast<std::size_t>(heights.columns) * heights.rows;
  heights.metres.resize(nodes);
  heights.agreeing.resize(nodes);
  const auto read = [&](int band, void* into, GDALDataType type) {
    return file->GetRasterBand(band)->RasterIO(GF_Read, 0, 0, heights.columns, heights.rows, into,
                                               heights.columns, heights.rows, type, 0, 0, nullptr) == CE_None;
  };
  if (!read(1, heights.metres.data(), GDT_Float32) || !read(2, heights.agreeing.data(), GDT_Byte))
    throw InputError(path.string() + ": ends early; run again");
  heights.sigma = check_height_sigma(out);
  return heights;
}

std::optional<LineHeights> heights_along(const Shape& line, const Heights& heights) {
  LineHeights found;
  found.name = line.name;
  const double step = std::min(std::abs(heights.x_step), std::abs(heights.y_step));
  double along = 0;
  int measured = 0;
  for (std::size_t i = 0; i < line.corners.size(); ++i) {
    const Corner& from = line.corners[i];
    const bool last = i + 1 == line.corners.size();
    const double side = last ? 0 : distance(from, line.corners[i + 1]);
    const int parts = last ? 1 : std::max(1, static_cast<int>(std::ceil(side / step)));
    for (int part = 0; part < parts; ++part) {
      const Corner spot = last ? from : between(from, line.corners[i + 1], double(part) / parts);
      const auto height = heights.at(spot);
      if (!height) return std::nullopt;
      found.spots.push_back({along + side * part / parts, spot, *height, heights.measured_at(spot)});
      measured += found.spots.back().measured;
    }
    if (!last) {
      const auto here = heights.at(from), there = heights.at(line.corners[i + 1]);
      if (!here || !there) return std::nullopt;
      found.slope_length += std::hypot(side, *there - *here);
    }
    along += side;
  }
  const auto by_height = [](const ProfileSpot& a, const ProfileSpot& b) { return a.height < b.height; };
  const auto [low, high] = std::minmax_element(found.spots.begin(), found.spots.end(), by_height);
  found.lowest = low->height, found.highest = high->height;
  found.level_difference = found.spots.back().height - found.spots.front().height;
  found.measured_share = double(measured) / double(found.spots.size());
  return found;
}

std::optional<Volume> volume_of(const Shape& area, const Heights& heights) {
  const auto plane = plane_through(area.corners, heights);
  if (!plane) return std::nullopt;
  Volume volume;
  volume.name = area.name;
  const double cell = std::abs(heights.x_step * heights.y_step);
  int nodes = 0, measured = 0;
  for (int row = 0; row < heights.rows; ++row)
    for (int column = 0; column < heights.columns; ++column) {
      const Corner node{heights.x0 + column * heights.x_step, heights.y0 + row * heights.y_step};
      if (!inside(area.corners, node)) continue;
      const std::size_t at = static_cast<std::size_t>(row) * heights.columns + column;
      const double base = (*plane)(0) + (*plane)(1) * (node.x - area.corners[0].x) +
                          (*plane)(2) * (node.y - area.corners[0].y);
      const double over = heights.metres[at] - base;
      (over > 0 ? volume.above : volume.below) += std::abs(over) * cell;
      ++nodes;
      measured += heights.agreeing[at] > 0;
    }
  if (nodes == 0) return std::nullopt;
  volume.measured_share = double(measured) / nodes;
  return volume;
}

std::string text_of(const std::vector<LineHeights>& lines, const std::vector<Volume>& volumes,
                    const Heights& heights) {
  std::string text;
  for (const LineHeights& line : lines)
    text += fmt::format(
        "{}: level difference {:+.2f} m, slope length {:.2f} m, heights {:.2f} to {:.2f} m ({} of it "
        "measured)\n",
        line.name, line.level_difference, line.slope_length, line.lowest, line.highest,
        percent(line.measured_share));
  for (const Volume& volume : volumes)
    text += fmt::format(
        "{}: {:.3g} m3 above the plane through its outline, {:.3g} m3 below ({} of it measured)\n",
        volume.name, volume.above, volume.below, percent(volume.measured_share));
  if (text.empty()) return text;
  text +=
      heights.sigma
          ? fmt::format("A height is good to about {:.2f} m (one standard deviation, from check points).\n",
                        *heights.sigma)
          : std::string("How true the heights are is not known: no check points with heights.\n");
  if (!volumes.empty())
    text += "A volume out of pictures is an estimate: no survey, and no ground for paying or claiming.\n";
  return text;
}

std::string csv_of(const std::vector<LineHeights>& lines) {
  std::string text = "name,along_m,x_m,y_m,height_m,measured\n";
  for (const LineHeights& line : lines)
    for (const ProfileSpot& spot : line.spots)
      text += fmt::format("{},{:.3f},{:.4f},{:.4f},{:.3f},{}\n", csv_cell(line.name), spot.along,
                          spot.ground.x, spot.ground.y, spot.height, spot.measured ? "yes" : "no");
  return text;
}

std::string svg_of(const std::vector<LineHeights>& lines) {
  constexpr double kWide = 760, kHigh = 160, kLeft = 70, kTop = 40, kEach = 250;
  std::string text = fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" "
      "width=\"{0:.0f}\" height=\"{1:.0f}\" viewBox=\"0 0 {0:.0f} {1:.0f}\" font-family=\"sans-serif\" "
      "font-size=\"13\" fill=\"#222\">\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n",
      kLeft + kWide + 40, kEach * double(lines.size()));
  double top = kTop;
  for (const LineHeights& line : lines) {
    const double length = std::max(1e-9, line.spots.back().along);
    // At least a centimetre, or noise on a level line would look like hills.
    const double range = std::max(0.01, line.highest - line.lowest);
    const auto x = [&](double along) { return kLeft + kWide * along / length; };
    const auto y = [&](double height) { return top + kHigh * (1 - (height - line.lowest) / range); };
    std::string name;
    for (const char c : line.name) name += c == '<' ? "&lt;" : c == '&' ? "&amp;" : std::string(1, c);
    text += fmt::format(
        "<text x=\"{:.1f}\" y=\"{:.1f}\">{}: height in metres over {:.2f} m, heights drawn {:.3g} times "
        "larger"
        "</text>\n",
        kLeft, top - 16, name, length, (kHigh / range) / (kWide / length));
    for (const double height : {line.lowest, line.lowest + range})
      text += fmt::format(
          "<line x1=\"{0:.1f}\" x2=\"{1:.1f}\" y1=\"{2:.1f}\" y2=\"{2:.1f}\" stroke=\"#d8dde3\"/>\n<text "
          "x=\"{3:.1f}\" y=\"{4:.1f}\" text-anchor=\"end\">{5:.2f}</text>\n",
          kLeft, kLeft + kWide, y(height), kLeft - 6, y(height) + 4, height);
    for (const double along : {0.0, length / 2, length})
      text += fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"middle\">{:.1f} m</text>\n",
                          x(along), top + kHigh + 20, along);
    text += "<polyline fill=\"none\" stroke=\"#2b6cb0\" stroke-width=\"2\" points=\"";
    for (const ProfileSpot& spot : line.spots)
      text += fmt::format("{:.1f},{:.1f} ", x(spot.along), y(spot.height));
    text += "\"/>\n";
    top += kEach;
  }
  return text + "</svg>\n";
}

}  // namespace lookdown::measure
