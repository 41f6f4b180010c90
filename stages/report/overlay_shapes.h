// What was decided about a frame as shapes to draw on it. Shares of the displayed frame (see
// displayed_frame.h).
#pragma once

#include <filesystem>
#include <optional>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "stages/report/pictures/displayed_frame.h"

namespace lookdown::report {

using Outline = std::vector<DisplayedShare>;

/// The horizon as drawn through the lens, and a point on its sky side.
struct HorizonShape {
  Outline line;
  DisplayedShare sky;
};
[[nodiscard]] std::optional<HorizonShape> horizon_shape(const FrameRecord&);

/// Blur of each tile in the order in which tiles are displayed; empty cells do not tell.
struct TileShape {
  int columns = 0;
  int rows = 0;
  std::vector<std::optional<double>> blur_fwhm_px;
};
[[nodiscard]] TileShape tile_shape(const FrameRecord&);

/// Outlines of glare from the mask file below `out`; empty when there is none or it cannot be read.
[[nodiscard]] std::vector<Outline> glare_outlines(const FrameRecord&, const std::filesystem::path& out);

/// Where the frame meets the mosaic, in mosaic pixels; empty when not placed or when it sees its vanishing
/// line.
[[nodiscard]] std::vector<Point2<MosaicPx>> footprint(const FrameRecord&);

/// A footprint of another frame as seen in this one.
[[nodiscard]] Outline outline_in_frame(const FrameRecord&, const std::vector<Point2<MosaicPx>>& footprint);

/// The spot of the frame that lies straight below the camera, if the tilt is known and the spot is near the
/// frame.
[[nodiscard]] std::optional<DisplayedShare> plumb_point(const FrameRecord&);

/// The spot where still water would mirror the sun, if the sun, the placement and true north are known and
/// the spot is near the frame.
[[nodiscard]] std::optional<DisplayedShare> sun_mirror_point(const FlightRecord&, const FrameRecord&);

}  // namespace lookdown::report
