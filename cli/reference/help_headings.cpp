#include "cli/reference/help_headings.h"

namespace lookdown::cli {

const std::vector<Heading>& headings() {
  static const std::vector<Heading> kHeadings{
      {"What goes in and out",
       {"out", "each", "from", "watch", "page", "choices-file", "overwrite", "options-file"},
       {"list-commands", "watch-quiet-s", "collect", "sidecars", "horizon", "glare"}},
      {"What to measure",
       {"point", "line", "area", "shapes-file", "profile", "volume", "coordinates"},
       {"gsd-profile"}},
      {"Which frames are kept",
       {"strictness", "max-blur-px", "max-smear-px", "keep-repeats"},
       {"max-clipped-share", "max-glare-share", "cover", "cover-share"}},
      {"Scale and place",
       {"control-file", "marks-file", "check-points", "scale-bar", "control-crs", "camera-height-m"},
       {"camera-positions-file", "use-positions", "gsd-m"}},
      {"Place and day", {"lat-deg", "lon-deg", "date", "utc-offset-h"}, {"clock-offset-s", "step-min"}},
      {"Camera",
       {"camera-file", "focal-mm", "pixel-um", "frame-width-px", "frame-height-px", "shutter-s"},
       {"focal-px", "focal-35mm", "raw-or-jpeg", "f-number", "focus-m", "blur-circle-px"}},
      {"Area and overlap",
       {"area-length-m", "area-width-m", "forward-overlap-percent", "side-overlap-percent"},
       {"drift-m-s", "swing-deg", "swing-period-s"}},
      {"Water and glare",
       {"subject", "wind-m-s"},
       {"subject-height-m", "pond", "refractive-index", "glare-masks", "sun-marks-file"}},
      {"Mosaic",
       {"prefer", "surface", "show-plane", "fill", "part"},
       {"plane-height-m", "colour-balance", "meet-at-seams", "whole-roofs", "bits", "tone-curve",
        "compression", "max-gigapixels", "ground-overlay", "mosaic-tiles"}},
      {"Print", {"title", "paper", "print-scale"}, {}},
      {"Page", {}, {"picture-px", "page-megabytes", "full-size-crops"}},
      {"Further copies of frames",
       {"levelled-copies", "rectified-copies", "deglinted-copies", "ground-file"},
       {"upright", "levelled-edges", "aspect", "quality", "coarsest-factor", "max-megapixels"}},
      {"The program", {"quiet", "json", "help"}, {"verbose", "threads", "memory", "no-cache", "help-all"}},
  };
  return kHeadings;
}

}  // namespace lookdown::cli
