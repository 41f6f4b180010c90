#include "tests/bench/mosaic/ground_tie.h"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <stdexcept>
#include <string>
#include <vector>

#include "pipeline/record/record_json.h"

namespace lookdown::bench {
namespace {

using nlohmann::json;
using Complex = std::complex<double>;

/// One spot of ground; both with y up.
struct Spot {
  Complex mosaic, ground;
};

/// Places on the ground, by the truth, of pixels of a frame as stored; rays by cv::undistortPoints.
std::vector<Complex> seen_ground(const json& lens, const json& frame,
                                 const std::vector<cv::Point2d>& pixels) {
  const Camera camera = camera_from_json(lens);
  const cv::Matx33d intrinsics(camera.fx_px, 0, camera.cx_px, 0, camera.fy_px, camera.cy_px, 0, 0, 1);
  std::vector<cv::Point2d> rays;
  cv::undistortPoints(pixels, rays, intrinsics,
                      std::vector<double>{camera.k1, camera.k2, camera.p1, camera.p2, camera.k3});
  Eigen::Matrix3d world_from_camera;
  for (int i = 0; i < 9; ++i) world_from_camera(i / 3, i % 3) = frame.at("rotation")[i];
  const json& centre = frame.at("centre_m");
  std::vector<Complex> ground;
  for (const cv::Point2d& ray : rays) {
    const Eigen::Vector3d along = world_from_camera * Eigen::Vector3d(ray.x, ray.y, 1);
    const double times = -centre[2].get<double>() / along.z();
    ground.emplace_back(centre[0].get<double>() + times * along.x(),
                        centre[1].get<double>() + times * along.y());
  }
  return ground;
}

std::vector<Spot> spots_of(const FrameRecord& frame, const json& truth, const json& true_frame) {
  constexpr int kSide = 5;
  const json& lens = true_frame.contains("camera") ? true_frame.at("camera") : truth.at("camera");
  std::vector<cv::Point2d> pixels;
  // The middle half of the frame: the rim of a slanting one lies far away.
  for (int row = 0; row < kSide; ++row)
    for (int column = 0; column < kSide; ++column)
      pixels.emplace_back((0.25 + 0.5 * column / (kSide - 1)) * frame.source.width_px,
                          (0.25 + 0.5 * row / (kSide - 1)) * frame.source.height_px);
  const std::vector<Complex> ground = seen_ground(lens, true_frame, pixels);
  std::vector<Spot> spots;
  for (std::size_t i = 0; i < pixels.size(); ++i) {
    const auto at =
        frame.placement.mosaic_from_frame * frame.placement.camera.undistort({pixels[i].x, pixels[i].y});
    spots.push_back({{at.x, -at.y}, ground[i]});
  }
  return spots;
}

struct Similarity {
  Complex factor, shift;
  [[nodiscard]] double miss(const Spot& spot) const {
    return std::abs(factor * spot.mosaic + shift - spot.ground);
  }
};

Similarity weighted_fit(const std::vector<Spot>& spots, const std::vector<double>& weights) {
  double sum = 0, square = 0;
  Complex mosaic, ground, product;
  for (std::size_t i = 0; i < spots.size(); ++i)
    sum += weights[i], mosaic += weights[i] * spots[i].mosaic, ground += weights[i] * spots[i].ground;
  mosaic /= sum, ground /= sum;
  for (std::size_t i = 0; i < spots.size(); ++i) {
    product += weights[i] * std::conj(spots[i].mosaic - mosaic) * (spots[i].ground - ground);
    square += weights[i] * std::norm(spots[i].mosaic - mosaic);
  }
  const Complex factor = product / square;
  return {factor, ground - factor * mosaic};
}

Similarity robust_fit(const std::vector<Spot>& spots) {
  constexpr int kRounds = 20;
  std::vector<double> weights(spots.size(), 1.0), misses(spots.size());
  Similarity fit = weighted_fit(spots, weights);
  for (int round = 0; round < kRounds; ++round) {
    std::transform(spots.begin(), spots.end(), misses.begin(),
                   [&](const Spot& spot) { return fit.miss(spot); });
    std::vector<double> sorted = misses;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                     sorted.end());
    const double scatter = std::max(1e-9, sorted[sorted.size() / 2]);
    for (std::size_t i = 0; i < spots.size(); ++i)
      weights[i] = 1 / (1 + std::pow(misses[i] / (2 * scatter), 2));
    fit = weighted_fit(spots, weights);
  }
  return fit;
}

}  // namespace

cv::Matx33d grid_of(const std::array<double, 6>& t) {
  return {t[1], t[2], t[0] + 0.5 * (t[1] + t[2]), t[4], t[5], t[3] + 0.5 * (t[4] + t[5]), 0, 0, 1};
}

cv::Matx33d fitted_grid(const FlightRecord& flight, const json& truth) {
  std::map<std::string, const json*> true_frames;
  for (const json& frame : truth.at("frames")) true_frames[frame.at("file")] = &frame;
  std::vector<Spot> spots;
  for (const FrameRecord& frame : flight.frames) {
    const auto found = true_frames.find(frame.source.file);
    if (!frame.placement.placed || frame.placement.group != 0 || found == true_frames.end()) continue;
    const std::vector<Spot> more = spots_of(frame, truth, *found->second);
    spots.insert(spots.end(), more.begin(), more.end());
  }
  if (spots.empty()) throw std::runtime_error("no placed frame has a truth to be tied to");
  const Similarity fit = robust_fit(spots);
  const double a = fit.factor.real(), b = fit.factor.imag();
  // Mosaic rows run downward.
  return {a, b, fit.shift.real(), b, -a, fit.shift.imag(), 0, 0, 1};
}

}  // namespace lookdown::bench
