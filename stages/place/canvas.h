// The mosaic's canvas: which ground it covers and how world units become mosaic pixels.
#pragma once

#include <vector>

#include "stages/place/planes/ground_facet.h"

namespace lookdown::place {

/// A placed frame as the canvas sees it.
struct CanvasFrame {
  Camera camera;
  Pose pose;
  bool shown = true;   ///< false: takes no part in choosing extent and resolution
  bool fills = false;  ///< takes part in choosing the extent: may be shown where no other frame is
  GroundFacet ground;
  double below =
      0;  ///< world units: how far the ground may lie below the facet: what lies deeper is seen farther out
};

/// North up: mosaic x = (X - west) / gsd - 0.5, y = (north - Y) / gsd - 0.5.
struct Canvas {
  double west = 0;   ///< world x of the left edge of the left pixel
  double north = 0;  ///< world y of the upper edge of the top pixel
  double gsd = 1;    ///< world units a pixel
  int width_px = 0;
  int height_px = 0;
  [[nodiscard]] Homography<MosaicPx, Ground> mosaic_from_ground() const;
};

/// The ground rectangle of all shown frames, over ground with relief also for what they would see were it
/// level or deeper. Corners whose ground resolution is worse than 4 times the median (high obliques) are left
/// out, so that a frame that looks at the horizon does not blow up the canvas. `gsd`
/// <= 0: the median of the frames.
[[nodiscard]] Canvas choose_canvas(const std::vector<CanvasFrame>&, double gsd);

}  // namespace lookdown::place
