// Pictures whose blur is known: sharp sources (photographs made smaller, or textures made here) put through a
// camera with a known lens, motion, defocus, noise and coding.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <random>
#include <string>
#include <vector>

namespace lookdown::bench {

/// Evenly spread from `low` to `high`.
[[nodiscard]] double uniform(std::mt19937&, double low, double high);

/// What the camera does to every frame of a flight. Lengths in pixels of the finished picture.
struct CameraRecipe {
  double lens_sigma_px = 0.5;  ///< standard deviation of lens and sensor, geometric mean over the directions
  double astigmatism = 1;      ///< ratio of the lens's widest to its narrowest direction
  double astigmatism_deg = 0;  ///< of the widest direction, 0..180 counter-clockwise from +x, y up
  double noise_levels = 1;     ///< standard deviation at mid grey, of 255
  int jpeg_quality = 90;       ///< 0: not coded
  bool linear_light = true;    ///< blur acts on light, not on coded values
  double sharpening = 0;       ///< amount of the camera's own unsharp mask, radius 1 px
  bool mosaic_sensor = false;  ///< colours interpolated from a Bayer pattern
};

/// What happened while the shutter was open.
enum class BlurKind { none, straight, curved, turning, gaussian, disc, combined };
inline constexpr int kBlurKinds = 7;
[[nodiscard]] const char* word(BlurKind);

struct BlurRecipe {
  CameraRecipe camera;
  BlurKind kind = BlurKind::none;
  double smear_px = 0;   ///< length of the path; of a turning camera, in the middle of the picture
  double smear_deg = 0;  ///< 0..180 counter-clockwise from +x, y up; mean direction, in the middle
  double bend_rad = 0;   ///< turn of the path from its start to its end
  double turn_rad = 0;   ///< of the camera about its axis of sight
  double sigma_px = 0;   ///< added Gaussian, or half the radius of the disc (its deviation on an axis)
  [[nodiscard]] bool smeared() const { return smear_px > 0; }
  /// Standard deviation of everything that is not the smear, and of all along the smear.
  [[nodiscard]] double sigma_across_px() const;
  [[nodiscard]] double sigma_along_px() const;
  /// A smear of 3 px and more or a deviation of 1.3 px and more, beyond what the lens does.
  [[nodiscard]] bool blurred() const { return smear_px >= 3 || sigma_px >= 1.3; }
  [[nodiscard]] bool sharp() const { return kind == BlurKind::none; }
};

[[nodiscard]] CameraRecipe random_camera(std::mt19937& random);
/// A random blur of the kind, by that camera.
[[nodiscard]] BlurRecipe random_blur(BlurKind, const CameraRecipe&, std::mt19937& random);

/// Path of the given length and mean direction on a pixel grid, straight or an arc, CV_32F, sum 1.
[[nodiscard]] cv::Mat smear_kernel(double smear_px, double smear_deg, double bend_rad = 0);
/// Uniform disc, CV_32F, sum 1.
[[nodiscard]] cv::Mat disc_kernel(double radius_px);

/// Photographs through the recipe. `sharp`: CV_32FC3, sRGB-coded 0..1. Returns CV_8UC3.
[[nodiscard]] cv::Mat take_picture(const cv::Mat& sharp, const BlurRecipe&, std::mt19937& random);

/// A random part of a photograph, made smaller by `least_reduction` to twice that, CV_32FC3. Empty when the
/// photograph is too small.
[[nodiscard]] cv::Mat part_of_photograph(const cv::Mat& photograph, double least_reduction,
                                         const cv::Size& size, std::mt19937& random);

/// A texture made from random numbers: dead leaves, cells, strokes, plates, power-law noise, or two of them
/// side by side. CV_32FC3.
[[nodiscard]] cv::Mat made_texture(const cv::Size& size, std::mt19937& random);

}  // namespace lookdown::bench
