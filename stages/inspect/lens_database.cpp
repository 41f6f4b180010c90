#include "stages/inspect/lens_database.h"

#include <lensfun/lensfun.h>

#include <Eigen/Core>
#include <cctype>
#include <cmath>
#include <memory>
#include <mutex>
#include <vector>

#include "pipeline/base/angles.h"
#include "stages/inspect/radial_fit.h"

namespace lookdown::inspect {
namespace {

struct Freed {
  void operator()(void* list) const { lf_free(list); }
};

/// The database as Debian installs it; loaded at the first question. Lensfun is not safe to ask from several
/// threads.
struct Database {
  std::mutex one_at_a_time;
  lfDatabase lenses;
  bool loaded = false;
};

Database& database() {
  static Database instance;
  return instance;
}

struct BodyAndLens {
  const lfCamera* body = nullptr;
  const lfLens* lens = nullptr;
};

/// Mounts of fixed lenses have names that begin with a small letter (lensfun's database format).
bool has_fixed_lens(const lfCamera& body) {
  return body.Mount && std::islower(static_cast<unsigned char>(body.Mount[0]));
}

bool is_fisheye(const lfLens& lens) {
  switch (lens.Type) {
    case LF_FISHEYE:
    case LF_FISHEYE_ORTHOGRAPHIC:
    case LF_FISHEYE_STEREOGRAPHIC:
    case LF_FISHEYE_EQUISOLID:
    case LF_FISHEYE_THOBY:
      return true;
    default:
      return false;
  }
}

BodyAndLens look_up(const lfDatabase& lenses, const FrameInfo& frame) {
  BodyAndLens found;
  const std::unique_ptr<const lfCamera*, Freed> bodies(
      lenses.FindCamerasExt(frame.make.c_str(), frame.model.c_str()));
  if (!bodies || !bodies.get()[0]) return found;
  found.body = bodies.get()[0];
  const bool fixed = has_fixed_lens(*found.body);
  if (!fixed && frame.lens.empty()) return found;
  const std::unique_ptr<const lfLens*, Freed> matches(
      lenses.FindLenses(found.body, nullptr, fixed ? nullptr : frame.lens.c_str()));
  if (!matches || !matches.get()[0]) return found;
  const lfLens* first = matches.get()[0];
  // Two lenses that fit the name equally well are no answer.
  if (!fixed && matches.get()[1] && matches.get()[1]->Score == first->Score) return found;
  if (first->Type == LF_RECTILINEAR || is_fisheye(*first)) found.lens = first;
  return found;
}

/// Focal length in pixels: the side of the sensor that the picture's shape uses in full gives the pixel
/// pitch.
double focal_px_of(const lfCamera& body, const lfLens* lens, double focal_mm, int width_px, int height_px) {
  const double diagonal_mm = kFilmDiagonalMm / body.CropFactor;
  const double sensor_aspect = lens && lens->AspectRatio > 1 ? lens->AspectRatio : 1.5;
  const double long_mm = diagonal_mm * sensor_aspect / std::hypot(sensor_aspect, 1),
               short_mm = long_mm / sensor_aspect;
  const double long_px = std::max(width_px, height_px), short_px = std::min(width_px, height_px);
  // A picture wider than the sensor uses its whole length, a squarer one its whole height.
  const double px_per_mm = long_px / short_px >= sensor_aspect ? long_px / long_mm : short_px / short_mm;
  return focal_mm * px_per_mm;
}

/// Radii in the picture (before distortion and as stored, pixels from the centre) along its half diagonal, by
/// lensfun itself. Before distortion an equidistant lens shows angles, in units of `camera`'s focal length.
std::vector<Eigen::Vector2d> distorted_radii(const lfLens& lens, const lfCamera& body, double focal_mm,
                                             const Camera& camera) {
  lfModifier modifier(&lens, body.CropFactor, camera.width_px, camera.height_px);
  const int active = modifier.Initialize(&lens, LF_PF_U8, static_cast<float>(focal_mm), 8, 1000, 1,
                                         LF_RECTILINEAR, LF_MODIFY_DISTORTION | LF_MODIFY_GEOMETRY, false);
  std::vector<Eigen::Vector2d> radii;
  if (!(active & (LF_MODIFY_DISTORTION | LF_MODIFY_GEOMETRY))) return radii;
  const bool by_angle = camera.projection == Projection::equidistant;
  const double cx = camera.cx_px, cy = camera.cy_px, half_diagonal = std::hypot(cx, cy);
  for (int i = 1; i <= 40; ++i) {
    const double before = half_diagonal * i / 40, angle = before / camera.fx_px;
    if (by_angle && angle > 80 * kDegree) break;
    const double undistorted = by_angle ? camera.fx_px * std::tan(angle) : before;
    float seen[2];
    const auto x = static_cast<float>(cx + undistorted * cx / half_diagonal);
    const auto y = static_cast<float>(cy + undistorted * cy / half_diagonal);
    if (!modifier.ApplyGeometryDistortion(x, y, 1, 1, seen)) return {};
    radii.emplace_back(before, std::hypot(seen[0] - cx, seen[1] - cy));
  }
  return radii;
}

}  // namespace

std::optional<Camera> camera_from_lens_database(const FrameInfo& frame, int width_px, int height_px) {
  if (frame.make.empty() || frame.model.empty() || !frame.focal_length_mm ||
      std::min(width_px, height_px) < 2)
    return std::nullopt;
  Database& source = database();
  const std::lock_guard lock(source.one_at_a_time);
  if (!source.loaded) {
    source.lenses.Load();
    source.loaded = true;
  }
  const BodyAndLens found = look_up(source.lenses, frame);
  if (!found.body || found.body->CropFactor <= 0) return std::nullopt;
  Camera camera = assumed_camera(width_px, height_px);
  camera.fx_px = camera.fy_px =
      focal_px_of(*found.body, found.lens, *frame.focal_length_mm, width_px, height_px);
  camera.focal_from = "lens database";
  camera.focal_sigma_share = 0.02;
  if (!found.lens) return camera;
  if (is_fisheye(*found.lens)) camera.projection = Projection::equidistant;
  const auto radii = distorted_radii(*found.lens, *found.body, *frame.focal_length_mm, camera);
  if (radii.empty()) return camera;
  const double miss = fit_radial(radii, camera);
  if (miss > 5e-4 * std::max(width_px, height_px)) {
    camera.k1 = camera.k2 = camera.k3 = 0;
    return camera;
  }
  camera.distortion_from = "lens database";
  return camera;
}

}  // namespace lookdown::inspect
