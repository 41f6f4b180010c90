// measure: positions, lengths and areas on a finished mosaic, each with how sure it is. Common rules: reads
// only files that a run wrote (mosaic.tif, mosaic_sources.tif, placement.json); coordinates are ground units
// of the mosaic (metres when its scale is known) or mosaic pixels with the centre of the top-left pixel at
// (0, 0); standard deviations are one sigma; what cannot be told is absent.
#pragma once

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
  std::optional<double> point_sigma;
  std::optional<Value> length;  ///< of a line, or the outline of an area
  std::optional<Value> area;
};

/// Length and area with errors propagated to first order: each corner errs by `point_sigma` in each
/// coordinate and by half a pixel of pointing, independently of the others, and the scale by
/// `scale_sigma_share`.
[[nodiscard]] Measured measure(const Shape&, const Ground&, bool given_in_px);

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

}  // namespace lookdown::measure
