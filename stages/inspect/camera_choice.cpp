#include "stages/inspect/camera_choice.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "stages/inspect/lens_database.h"

namespace lookdown::inspect {
namespace {

Camera with_focal(int width_px, int height_px, double focal_px, const char* from, double sigma_share) {
  Camera camera = assumed_camera(width_px, height_px);
  camera.fx_px = camera.fy_px = focal_px;
  camera.focal_from = from;
  camera.focal_sigma_share = sigma_share;
  return camera;
}

// 35 mm equivalent by the diagonal, which fits every aspect ratio (CIPA DCG-001).
double focal_from_35mm(double focal_35mm, int width_px, int height_px) {
  return focal_35mm * std::hypot(width_px, height_px) / kFilmDiagonalMm;
}

std::optional<double> focal_from_focal_plane(const ExifTags& tags, const WholePicture& whole, int width_px) {
  if (!tags.frame.focal_length_mm || !tags.focal_plane_x_px_per_mm) return std::nullopt;
  // The resolution counts pixels of the picture as shot; a resized copy has fewer on the same sensor.
  const double shot = std::max(tags.pixel_x_dimension, tags.pixel_y_dimension);
  const double resized = shot > 0 ? std::max(whole.width_px, whole.height_px) / shot : 1.0;
  const double focal_px = *tags.frame.focal_length_mm * *tags.focal_plane_x_px_per_mm * resized;
  // Lenses from fisheye to long telephoto; anything outside is a wrong unit or a sensor figure.
  if (focal_px < 0.2 * width_px || focal_px > 50.0 * width_px) return std::nullopt;
  return focal_px;
}

/// The camera of the middle of a picture: where a crop was cut is not recorded, so its centre is the best
/// guess; the lens distortion turns about a point that is no longer known and is left out.
Camera cropped_to(const Camera& known, const WholePicture& whole, int width_px, int height_px) {
  if (!whole.is_cropped) return known;
  Camera camera =
      with_focal(width_px, height_px, known.fx_px, known.focal_from.c_str(), known.focal_sigma_share);
  return camera;
}

bool same_aspect(const Camera& camera, int width_px, int height_px) {
  return std::abs(static_cast<double>(camera.width_px) / camera.height_px -
                  static_cast<double>(width_px) / height_px) < 0.01;
}

}  // namespace

WholePicture whole_picture(const ExifTags& tags, int width_px, int height_px) {
  WholePicture whole{static_cast<double>(width_px), static_cast<double>(height_px), false};
  double shot_width = tags.pixel_x_dimension, shot_height = tags.pixel_y_dimension;
  if (!(shot_width > 0 && shot_height > 0)) return whole;
  if ((shot_width > shot_height) != (width_px > height_px) && shot_width != shot_height &&
      width_px != height_px)
    std::swap(shot_width, shot_height);
  const double across = width_px / shot_width, down = height_px / shot_height;
  if (std::abs(across - down) < 0.01 * std::max(across, down)) return whole;
  if (across <= 1 && down <= 1) return {shot_width, shot_height, true};
  return whole;
}

Camera choose_camera(const ExifTags& tags, int width_px, int height_px,
                     const std::optional<Camera>& calibration, const Options& options) {
  if (options.focal_px) return with_focal(width_px, height_px, *options.focal_px, "option", 0.01);
  if (options.focal_35mm)
    return with_focal(width_px, height_px, focal_from_35mm(*options.focal_35mm, width_px, height_px),
                      "option", 0.03);
  if (calibration && same_aspect(*calibration, width_px, height_px))
    return calibration->scaled(static_cast<double>(width_px) / calibration->width_px);
  const WholePicture whole = whole_picture(tags, width_px, height_px);
  const int whole_width = static_cast<int>(std::lround(whole.width_px));
  const int whole_height = static_cast<int>(std::lround(whole.height_px));
  if (const auto known = camera_from_lens_database(tags.frame, whole_width, whole_height))
    return cropped_to(*known, whole, width_px, height_px);
  if (const auto focal_px = focal_from_focal_plane(tags, whole, width_px))
    return with_focal(width_px, height_px, *focal_px, "Exif focal plane", 0.03);
  // Whole millimetres only, so the rounding alone is a few percent for wide lenses.
  if (tags.frame.focal_length_35mm) {
    const double focal_px = focal_from_35mm(*tags.frame.focal_length_35mm, whole_width, whole_height);
    return with_focal(width_px, height_px, focal_px, "Exif 35 mm", 0.03);
  }
  return assumed_camera(width_px, height_px);
}

std::string camera_id(const FrameInfo& frame, int width_px, int height_px) {
  return fmt::format("{} {}|{}|{:.2f} mm|{:.0f} px|{}x{}", frame.make, frame.model, frame.lens,
                     frame.focal_length_mm.value_or(0), frame.camera.fx_px, width_px, height_px);
}

}  // namespace lookdown::inspect
