#include "stages/rectify/rectify.h"

namespace lookdown::rectify {

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option(
      {"gsd-m", "ground size of a pixel of the rectified frame; not given: the best in the frame", 1e-4, 100},
      options.gsd_m);
  visitor.option(
      {"coarsest-factor", "leave out what the frame shows this many times more coarsely than its best part",
       1.1, 100},
      options.coarsest_factor);
  visitor.option(
      {"plane-height-m", "height of the plane above the ground in metres, e.g. of a roof", -100, 1000},
      options.plane_height_m);
  visitor.option({"camera-height-m",
                  "camera above the ground, for a frame whose tilt is known but not its place", 0.5, 10000},
                 options.height_m);
  visitor.option(
      {"ground-file",
       "table of what is known of the ground in single frames, which are then rectified by it alone "
       "(file,sign,x_px,y_px,x_m,y_m; sign: mark, corner, along, across)"},
      options.ground_file);
  visitor.option({"max-megapixels", "refuse to make a larger picture", 1, 4000}, options.max_megapixels);
}

}  // namespace lookdown::rectify
