#include "stages/inspect/lens_database.h"

#include <lensfun/lensfun.h>

#include <Eigen/Dense>
#include <cctype>
#include <cmath>
#include <memory>
#include <mutex>
#include <vector>

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
  if (first->Type == LF_RECTILINEAR) found.lens = first;
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

/// Radii in the picture (undistorted and as stored, pixels from the centre) along its half diagonal, by
/// lensfun itself.
std::vector<Eigen::Vector2d> distorted_radii(const lfLens& lens, const lfCamera& body, double focal_mm,
                                             int width_px, int height_px) {
  lfModifier modifier(&lens, body.CropFactor, width_px, height_px);
  const int active = modifier.Initialize(&lens, LF_PF_U8, static_cast<float>(focal_mm), 8, 1000, 1,
                                         LF_RECTILINEAR, LF_MODIFY_DISTORTION, false);
  std::vector<Eigen::Vector2d> radii;
  if (!(active & LF_MODIFY_DISTORTION)) return radii;
  const double cx = 0.5 * (width_px - 1), cy = 0.5 * (height_px - 1), half_diagonal = std::hypot(cx, cy);
  for (int i = 1; i <= 40; ++i) {
    const double undistorted = half_diagonal * i / 40;
    float seen[2];
    const auto x = static_cast<float>(cx + undistorted * cx / half_diagonal);
    const auto y = static_cast<float>(cy + undistorted * cy / half_diagonal);
    if (!modifier.ApplyGeometryDistortion(x, y, 1, 1, seen)) return {};
    radii.emplace_back(undistorted, std::hypot(seen[0] - cx, seen[1] - cy));
  }
  return radii;
}

/// Fits stored = s u (1 + k1 (s u / f)^2 + k2 (s u / f)^4 + k3 (s u / f)^6), where s is the slope at the
/// centre: the models of the database keep a ring of the picture in place, Brown's keeps the centre. Returns
/// the largest miss in pixels.
double fit_brown(const std::vector<Eigen::Vector2d>& radii, Camera& camera) {
  const long n = static_cast<long>(radii.size());
  Eigen::MatrixXd terms(n, 4);
  Eigen::VectorXd stored(n);
  const double unit = radii.back().x();
  for (long i = 0; i < n; ++i) {
    const double u = radii[i].x() / unit;
    terms.row(i) << u, u * u * u, std::pow(u, 5), std::pow(u, 7);
    stored(i) = radii[i].y() / unit;
  }
  const Eigen::VectorXd fitted = terms.colPivHouseholderQr().solve(stored);
  const double per_square = std::pow(camera.fx_px / (fitted(0) * unit), 2);
  camera.k1 = fitted(1) / fitted(0) * per_square;
  camera.k2 = fitted(2) / fitted(0) * per_square * per_square;
  camera.k3 = fitted(3) / fitted(0) * per_square * per_square * per_square;
  return unit * (terms * fitted - stored).cwiseAbs().maxCoeff();
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
  const auto radii = distorted_radii(*found.lens, *found.body, *frame.focal_length_mm, width_px, height_px);
  if (radii.empty()) return camera;
  const double miss = fit_brown(radii, camera);
  if (miss > 5e-4 * std::max(width_px, height_px)) {
    camera.k1 = camera.k2 = camera.k3 = 0;
    return camera;
  }
  camera.distortion_from = "lens database";
  return camera;
}

}  // namespace lookdown::inspect
