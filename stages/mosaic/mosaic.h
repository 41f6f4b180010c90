// mosaic: one straight-down picture from the placed frames that are kept. Common rules: the canvas is
// rendered tile by tile in the memory given; size and disk need are checked before work starts; files are
// written atomically; output does not depend on the number of threads; alpha 0 = no frame saw it.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::mosaic {

struct Options {
  std::string order =
      "best";  ///< "best", "newest", "sharpest", "straightest": which frame wins where several see a spot
  std::optional<double> gsd_m;  ///< empty: as placed
  std::string compression = "deflate";
  std::string bits = "8";  ///< a sample of mosaic.tif: "8" or "16"
  std::string tone_curve;  ///< points "0,0 0.25,0.18 1,1" from and to, coded values 0 to 1; empty: none
  double max_gigapixels = 4;
  bool colour_balance = true;
  bool fill =
      true;  ///< where no kept frame sees the ground, show the least blurred of those dropped for blur
  bool meet_at_seams = true;  ///< bend frames by a few pixels along seams, so that they meet there
  bool whole_roofs =
      true;  ///< show a flat roof straight down, else out of one frame that sees it whole, else joined
  bool ground_overlay = true;  ///< mosaic.kmz, when a CRS is known
  std::string paper = "A3";    ///< of mosaic_print.pdf, made when the scale is known; "none": no sheet
  int print_scale = 0;         ///< denominator of its scale; 0: the largest common one that fits one sheet
  std::string title;           ///< printed on it; empty: the name of the frames' folder
  int plane = 0;               ///< of those that placing found: 0 the ground, 1 the largest roof and so on
  std::optional<double> plane_height_m;  ///< in place of `plane`: a plane other than the ground, e.g. a roof
};
void describe(Options&, OptionVisitor&);

/// Throws std::runtime_error, with the option's name and what to do, where options contradict each other or
/// hold what cannot be read.
void check(const Options&);

/// Bump when `build` changes what it makes: an earlier mosaic is then made again.
inline constexpr const char* kMosaicVersion = "mosaic/20";

/// Throws CanvasError when the mosaic of what is placed would be larger than is allowed or than the disk
/// below `out` has room for; so that it shows before heights and masks are worked out for it.
void check_size(const FlightRecord&, const Options&, const std::filesystem::path& out);

/// Tiles of a mosaic, and how many of them were taken as they are from the mosaic that an earlier run left.
struct TileCount {
  int all = 0, reused = 0;
};

/// Writes mosaic.tif, mosaic_sources.tif, mosaic.jpg below context.out and fills FlightRecord::mosaic. When
/// nothing is placed, the record gets a warning and no file is written. What lies in `out` from an earlier
/// run changes how long it takes, not what it makes.
TileCount build(FlightRecord&, const Options&, RunContext&);

}  // namespace lookdown::mosaic
