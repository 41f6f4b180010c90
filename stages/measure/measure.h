// measure: positions, lengths and areas on a finished mosaic, each with how sure it is. Common rules: reads
// only files that a run wrote (mosaic.tif, mosaic_sources.tif, placement.json); coordinates are ground units
// of the mosaic (metres when its scale is known) or mosaic pixels with the centre of the top-left pixel at
// (0, 0); standard deviations are one sigma; what cannot be told is absent.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"

namespace lookdown::measure {

struct Options {
  std::vector<std::string> points, lines, areas;  ///< corners as "x,y x,y ..."
  std::string shapes_file;                        ///< CSV (name,kind,x,y) or GeoJSON
  std::string coordinates = "ground";             ///< "ground" or "px"
  bool profile = false;                           ///< heights along each line, as CSV and SVG
  bool volume = false;       ///< of each area, above and below the plane through its outline
  bool gsd_profile = false;  ///< also state the ground size of the frame pixels over the mosaic
};
void describe(Options&, OptionVisitor&);

enum class Kind { point, line, area };
[[nodiscard]] const char* word(Kind);

struct Corner {
  double x = 0, y = 0;
};

/// Something to measure; coordinates as given.
struct Shape {
  std::string name;
  Kind kind = Kind::point;
  std::vector<Corner> corners;
};

/// Shapes or a mosaic could not be read; the message names file, line and what is wrong.
struct InputError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Shapes of the options, in the order points, lines, areas, file. Throws InputError.
[[nodiscard]] std::vector<Shape> shapes_of(const Options&);
/// CSV text with a header that has x and y, and optionally name and kind; rows with the same name make one
/// shape. Without kind one row is a point, several are a line. Throws InputError naming `file` and the line.
[[nodiscard]] std::vector<Shape> shapes_from_csv(const std::string& text, const std::string& file);
/// RFC 7946 Point, LineString, Polygon (outer ring), alone, as features or collections. Throws InputError.
[[nodiscard]] std::vector<Shape> shapes_from_geojson(const std::string& text, const std::string& file);

/// A mosaic's grid and what is known of its accuracy.
struct Ground {
  int width_px = 0, height_px = 0;
  double x0 = -0.5, x_right = 1,
         x_down = 0;  ///< ground x of the corner of the top-left pixel and steps, GDAL order
  double y0 = -0.5, y_right = 0, y_down = 1;
  bool metric = false;  ///< ground units are metres
  std::string crs;
  std::optional<double> scale_sigma_share;  ///< standard deviation of the scale
  std::optional<double>
      point_sigma;               ///< of each coordinate of a point against its neighbourhood, ground units
  std::string point_sigma_from;  ///< "check points", "control points" (optimistic), "tie points"
                                 ///< (optimistic), or empty
  std::optional<double> datum_sigma;  ///< of the position of the whole; from check points only

  [[nodiscard]] Corner ground_from_px(const Corner&) const;
  [[nodiscard]] Corner px_from_ground(const Corner&) const;
  [[nodiscard]] double unit_per_px() const;  ///< geometric mean of both directions
};
[[nodiscard]] Ground open_ground(const std::filesystem::path& out);
/// The same from a mosaic file and the text of its placement.json.
[[nodiscard]] Ground ground_of(const std::filesystem::path& mosaic_file, const std::string& placement_json);

/// A value with its standard deviation, which is absent when nothing is known of the accuracy.
struct Value {
  double value = 0;
  std::optional<double> sigma;
};

struct Measured {
  Shape shape;  ///< corners in ground units
  std::vector<Corner> corners_px;
  bool on_mosaic = true;  ///< all corners inside the grid
  /// Of each coordinate: in the world where check points tell the datum, else against other spots of the
  /// mosaic.
  std::optional<double> point_sigma;
  std::optional<Value> length;  ///< of a line, or the outline of an area
  std::optional<Value> area;
};

/// Length and area with errors propagated to first order: each corner errs by `point_sigma` in each
/// coordinate and by half a pixel of pointing, independently of the others, and the scale by
/// `scale_sigma_share`.
[[nodiscard]] Measured measure(const Shape&, const Ground&, bool given_in_px);

/// Heights over the mosaic, as surface.tif has them. Bilinear between nodes, in ground units above the plane.
struct Heights {
  int columns = 0, rows = 0;
  double x0 = 0, x_step = 1, y0 = 0, y_step = -1;  ///< centre of the first node and steps
  std::vector<float> metres;                       ///< row by row
  std::vector<std::uint8_t> agreeing;              ///< pairs of frames that agree; 0: filled from around
  std::optional<double> sigma;                     ///< from check points' heights; empty: not known

  /// Empty beyond the grid.
  [[nodiscard]] std::optional<double> at(const Corner& ground) const;
  [[nodiscard]] bool measured_at(const Corner& ground) const;
};
/// Empty when the run found no heights, or has no scale. Throws InputError for a damaged file.
[[nodiscard]] std::optional<Heights> open_heights(const std::filesystem::path& out);

/// One spot of a line on the surface.
struct ProfileSpot {
  double along = 0;  ///< from the line's first corner, level distance
  Corner ground;
  double height = 0;
  bool measured = true;  ///< false: the height was filled in from around
};

struct LineHeights {
  std::string name;
  double level_difference = 0;  ///< last corner minus first
  double slope_length = 0;      ///< along the straight slopes between corners
  double lowest = 0, highest = 0;
  double measured_share = 1;       ///< of the spots
  std::vector<ProfileSpot> spots;  ///< a node's distance apart
};
/// Empty when the line leaves the surface.
[[nodiscard]] std::optional<LineHeights> heights_along(const Shape& line, const Heights&);

/// What lies above and below the plane that fits the outline's corners best, by summing over the nodes
/// inside. An estimate for orientation: no survey.
struct Volume {
  std::string name;
  double above = 0, below = 0;
  double measured_share = 1;  ///< of the nodes
};
[[nodiscard]] std::optional<Volume> volume_of(const Shape& area, const Heights&);

[[nodiscard]] std::string text_of(const std::vector<LineHeights>&, const std::vector<Volume>&,
                                  const Heights&);
[[nodiscard]] std::string csv_of(const std::vector<LineHeights>&);
/// Height over distance, one plot a line, SVG 1.1.
[[nodiscard]] std::string svg_of(const std::vector<LineHeights>&);

/// One spot of the profile of ground sample distances.
struct GsdSpot {
  Corner ground;
  std::string file;  ///< frame shown there
  double gsd = 0;    ///< ground units a frame pixel, geometric mean of both directions
};
/// On a grid of about `across` spots along the longer side.
[[nodiscard]] std::vector<GsdSpot> gsd_profile(const std::filesystem::path& out, const Ground&, int across);

[[nodiscard]] std::string text_of(const std::vector<Measured>&, const Ground&);
[[nodiscard]] std::string csv_of(const std::vector<Measured>&, const Ground&);
[[nodiscard]] std::string json_of(const std::vector<Measured>&, const Ground&);
[[nodiscard]] std::string csv_of(const std::vector<GsdSpot>&);
/// Least, median and greatest.
[[nodiscard]] std::string text_of(const std::vector<GsdSpot>&, const Ground&);

/// How a second mosaic was brought onto the first. Pixels are those of the first one.
struct Alignment {
  std::array<double, 6> first_from_second{
      1, 0, 0, 0, 1, 0};  ///< x' = a x + b y + c, y' = d x + e y + f between pixel centres
  std::string from;       ///< "coordinates" or "matched features", refined by patches where there are any
  int patches = 0;        ///< patches of 256 px that agree on the transform
  int patches_tried = 0;
  double rmse_px = 0;     ///< of the patches' shifts after alignment; 0 patches: not known
  double turned_deg = 0;  ///< counter-clockwise as seen
  double scaled_by = 1;
};

/// Finds the transform. Throws InputError when the folders hold no mosaic or nothing ties the two together.
[[nodiscard]] Alignment align(const std::filesystem::path& first_out,
                              const std::filesystem::path& second_out);

/// Writes the second mosaic on the first one's grid as a Cloud-Optimized GeoTIFF with alpha. Throws
/// WriteError.
void write_aligned(const std::filesystem::path& first_out, const std::filesystem::path& second_out,
                   const Alignment&, const std::filesystem::path& file, int threads);

[[nodiscard]] std::string text_of(const Alignment&);
[[nodiscard]] std::string json_of(const Alignment&);

}  // namespace lookdown::measure
