// The lens database (lensfun) as a source of cameras: sensor size and lens distortion of a body and lens that
// Exif names.
#pragma once

#include <optional>

#include "pipeline/geometry/camera.h"
#include "pipeline/record/flight_record.h"

namespace lookdown::inspect {

/// Diagonal of 36 x 24 mm, that equivalent focal lengths refer to.
inline constexpr double kFilmDiagonalMm = 43.266615305567875;

/// Camera of a frame of width_px x height_px as stored whose maker, model, lens and focal length Exif gives.
/// The focal length is taken as paraxial; the database's distortion (poly3, poly5 or ptlens model) is fitted
/// with Brown's k1, k2, k3 over the frame, and left out where that fit misses by more than half a pixel in
/// 1000. Empty when the body is not in the database, when the lens cannot be told for sure (an
/// interchangeable lens that Exif does not name), or when the focal length is not known. Thread-safe.
[[nodiscard]] std::optional<Camera> camera_from_lens_database(const FrameInfo&, int width_px, int height_px);

}  // namespace lookdown::inspect
