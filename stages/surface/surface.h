// surface: heights of the ground and of what stands on it, over the mosaic's grid. Goes in: placed frames
// (poses, cameras) and their pixels. Comes out: a regular grid of heights with a confidence, written as
// surface.tif, through which the mosaic looks each pixel up. Common rules: heights are above the plane z = 0
// of the placement, in its world units; where nothing is known the plane stays; the result does not depend on
// the number of threads.
//
// Method: a plane sweep in object space (Collins, "A space-sweep approach to true multi-image matching", CVPR
// 1996) with a census for likeness and semi-global aggregation (Hirschmueller, IEEE TPAMI 30(2):328-341,
// 2008), by tile, first coarsely over all heights that the tie points leave open, then finely near what was
// found.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::surface {

struct Options {
  std::string kind = "heights";  ///< "heights": found from the frames; "plane": none are looked for
};
void describe(Options&, OptionVisitor&);

inline constexpr const char* kSurfaceVersion = "surface/11";
inline constexpr const char* kSurfaceFile = "surface.tif";

/// Heights at nodes over the placement's mosaic. Node (column, row) lies at mosaic pixel ((column + 0.5) step
/// - 0.5, (row + 0.5) step - 0.5) of the placement's grid.
struct HeightGrid {
  int columns = 0, rows = 0;
  double step_px = 1;                    ///< mosaic pixels between nodes
  std::vector<float> heights;            ///< world units above z = 0, row by row; 0 where nothing is known
  std::vector<std::uint8_t> confidence;  ///< number of frames that agree; 0: filled from around, or the plane
  float lowest = 0, highest = 0;
  double wall = 1e30;  ///< world units: neighbouring nodes that differ by more are the two sides of a step

  [[nodiscard]] bool empty() const { return heights.empty(); }
  /// Height at a mosaic pixel of the placement's grid, carried on beyond the rim. Linear between nodes; at a
  /// step that of one side, which of them by where the line between both sides runs through the nodes.
  [[nodiscard]] double at(double mosaic_x_px, double mosaic_y_px) const;
};

/// Finds the surface, writes surface.tif (heights, confidence) below context.out and fills
/// FlightRecord::surface. A flight that was placed on one plane, or `plane`, gives no file.
void build(FlightRecord&, const Options&, RunContext&);

/// Heights over the mosaic of a flight on one plane: those of the planes, given as in
/// FlightPlacement::raised_planes, within the rectangles that their roofs fill, 0 elsewhere. A first border
/// is the cheapest cut between what the frames agree on at either height (Boykov & Jolly, ICCV 2001); from
/// there, and from the marks alone, rectangles move to where brightness changes along all four sides in every
/// frame that is laid on the roof's height: edges of walls and shadows lie elsewhere in each. Frames dropped
/// for blur alone are asked where fewer than two others see. What shows no such sides is left out; empty when
/// all is. Units as in HeightGrid; a frame that can no longer be read says nothing. The answer does not
/// depend on the number of threads.
[[nodiscard]] HeightGrid flat_roofs(const FlightRecord&, const std::vector<RaisedPlane>& planes, RunContext&);

/// The grid that `build` has written; empty without one. Throws std::runtime_error when the file is damaged.
[[nodiscard]] HeightGrid read(const FlightRecord&, const std::filesystem::path& out);

}  // namespace lookdown::surface
