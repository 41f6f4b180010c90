#include "stages/mosaic/canvas.h"

#include <fmt/format.h>

#include <cmath>

namespace lookdown::mosaic {
namespace {

// Pixel centres are integers, so scaling about the corner of the grid moves centres by half a pixel: x' = (x
// + 0.5) s - 0.5.
Eigen::Matrix3d scaling_about_corner(double factor) {
  Eigen::Matrix3d scaling = Eigen::Matrix3d::Identity();
  scaling(0, 0) = scaling(1, 1) = factor;
  scaling(0, 2) = scaling(1, 2) = 0.5 * factor - 0.5;
  return scaling;
}

// A grid of more than this along one side is no picture but a placement gone wrong; it also keeps all index
// arithmetic in 32 bit.
constexpr double kLongestSidePx = 1'000'000;

// To three digits and never below the number, so that what a message names is enough.
std::string rounded_up(double number) {
  constexpr double kRounding = 1e-9;
  const double step = std::pow(10, std::floor(std::log10(number)) - 2);
  return fmt::format("{:.3g}", std::ceil(number / step - kRounding) * step);
}

}  // namespace

Canvas plan_canvas(const FlightPlacement& placement, std::optional<double> gsd_m) {
  if (placement.mosaic_width_px <= 0 || placement.mosaic_height_px <= 0)
    throw CanvasError("mosaic: the placement has no extent; at least one frame must be placed");
  Canvas canvas;
  canvas.crs = placement.crs;
  canvas.gsd_m = placement.gsd_m;
  canvas.geotransform = placement.geotransform;
  if (gsd_m && placement.gsd_m) {
    canvas.canvas_per_placed = *placement.gsd_m / *gsd_m;
    canvas.gsd_m = gsd_m;
  }
  const double width = std::ceil(placement.mosaic_width_px * canvas.canvas_per_placed);
  const double height = std::ceil(placement.mosaic_height_px * canvas.canvas_per_placed);
  if (!(width <= kLongestSidePx && height <= kLongestSidePx))
    throw CanvasError(
        fmt::format("mosaic: {:.0f} x {:.0f} px is out of reason; give a coarser --gsd-m", width, height));
  canvas.width_px = static_cast<int>(width);
  canvas.height_px = static_cast<int>(height);
  canvas.canvas_from_placed = scaling_about_corner(canvas.canvas_per_placed);
  if (canvas.geotransform)
    for (const int term : {1, 2, 4, 5}) (*canvas.geotransform)[term] /= canvas.canvas_per_placed;
  return canvas;
}

std::int64_t disk_need_bytes(const Canvas& canvas, int bits) {
  const double pixels = canvas.gigapixels() * 1e9;
  constexpr double kWorkingColour = 4, kFinalColour = 4 * 4.0 / 3, kTemporaryOverviews = 4.0 / 3;
  constexpr double kSourcesAndGlare = 2 * 3;  // small in practice, since both compress well
  const double colours = (kWorkingColour + kFinalColour + kTemporaryOverviews) * bits / 8;
  return static_cast<std::int64_t>(pixels * (colours + kSourcesAndGlare));
}

void check_size_and_disk(const Canvas& canvas, double max_gigapixels, const std::filesystem::path& out,
                         int bits) {
  if (canvas.gigapixels() > max_gigapixels) {
    const std::string coarser =
        canvas.gsd_m
            ? fmt::format("--gsd-m {} or coarser, or ",
                          rounded_up(*canvas.gsd_m * std::sqrt(canvas.gigapixels() / max_gigapixels)))
            : "";
    throw CanvasError(
        fmt::format("mosaic: {} x {} px is {} gigapixels, more than the {:g} of --max-gigapixels; give {}"
                    "--max-gigapixels {}",
                    canvas.width_px, canvas.height_px, rounded_up(canvas.gigapixels()), max_gigapixels,
                    coarser, rounded_up(canvas.gigapixels())));
  }
  std::error_code unknown;
  const auto space = std::filesystem::space(out, unknown);
  if (unknown) return;
  const std::int64_t need = disk_need_bytes(canvas, bits);
  if (static_cast<std::int64_t>(space.available) < need)
    throw CanvasError(
        fmt::format("mosaic: {} x {} px may need {:.1f} GB on the disk of {}, which has {:.1f} GB free; make "
                    "room or give "
                    "a coarser --gsd-m",
                    canvas.width_px, canvas.height_px, need * 1e-9, out.string(), space.available * 1e-9));
}

}  // namespace lookdown::mosaic
