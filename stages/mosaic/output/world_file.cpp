#include "stages/mosaic/output/world_file.h"

#include <fmt/format.h>

namespace lookdown::mosaic {

std::string world_file(const std::array<double, 6>& corner, double reduction_x, double reduction_y) {
  const double x_right = corner[1] * reduction_x, y_right = corner[4] * reduction_x;
  const double x_down = corner[2] * reduction_y, y_down = corner[5] * reduction_y;
  return fmt::format("{:.10f}\n{:.10f}\n{:.10f}\n{:.10f}\n{:.10f}\n{:.10f}\n", x_right, y_right, x_down,
                     y_down, corner[0] + 0.5 * (x_right + x_down), corner[3] + 0.5 * (y_right + y_down));
}

}  // namespace lookdown::mosaic
