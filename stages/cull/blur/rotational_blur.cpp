#include "stages/cull/blur/rotational_blur.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::cull {
namespace {

constexpr int kTilesOfRegion = 3, kLeastRegions = 5;
constexpr double kClearTurn = 3;        // standard deviations of the turn
constexpr double kWorthTelling = 0.15;  // of the length in the middle, at the corner
constexpr int kRounds = 6;              // of reweighting

struct LocalSmear {
  Eigen::Vector2d from_middle;  ///< in half diagonals, x right, y up
  Eigen::Vector2d vector_px;    ///< of either sign: turned to the side of the whole's
};

std::vector<LocalSmear> local_smears(const std::vector<TileSpectrum>& spectra, const RegionGrid& regions,
                                     double noise_power, const SpectrumFit& whole) {
  std::vector<LocalSmear> out;
  const Eigen::Vector2d along(std::cos(whole.direction_rad), std::sin(whole.direction_rad));
  const double half_diagonal = std::hypot(regions.frame.width, regions.frame.height) / 2;
  for (int region = 0; region < regions.columns * regions.rows; ++region) {
    std::vector<const TileSpectrum*> inside;
    Eigen::Vector2d middle = Eigen::Vector2d::Zero();
    for (const TileSpectrum& tile : spectra) {
      if (regions.index_of(tile.where) != region) continue;
      inside.push_back(&tile);
      middle += Eigen::Vector2d(tile.where.x, -tile.where.y);
    }
    const MeanSpectrum mean = mean_spectrum(inside, noise_power, 1);
    if (mean.tiles_with_detail < kTilesOfRegion) continue;
    const SpectrumFit fit = refine_motion_blur(samples_of(mean.wide_log_periodogram), whole);
    Eigen::Vector2d vector =
        fit.length_px * Eigen::Vector2d(std::cos(fit.direction_rad), std::sin(fit.direction_rad));
    if (vector.dot(along) < 0) vector = -vector;
    const Eigen::Vector2d half_tile(kSpectralTile / 2.0, -kSpectralTile / 2.0),
        centre(regions.frame.width / 2.0, -regions.frame.height / 2.0);
    out.push_back(
        {(middle / static_cast<double>(inside.size()) + half_tile - centre) / half_diagonal, vector});
  }
  return out;
}

struct Motion {
  Eigen::Vector3d shift_and_turn;  ///< v in px, w in px at the corner
  double turn_sigma;
};

Eigen::Vector2d smear_at(const Eigen::Vector3d& motion, const Eigen::Vector2d& from_middle) {
  return motion.head<2>() + motion[2] * Eigen::Vector2d(-from_middle.y(), from_middle.x());
}

/// Least squares with Cauchy weights: a region whose content looks like a smear of its own must not turn the
/// frame.
Motion fit_motion(const std::vector<LocalSmear>& smears) {
  Motion out{Eigen::Vector3d::Zero(), 0};
  std::vector<double> weight(smears.size(), 1), size(smears.size());
  for (int round = 0; round < kRounds; ++round) {
    Eigen::Matrix3d normal = 1e-9 * Eigen::Matrix3d::Identity();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    for (std::size_t i = 0; i < smears.size(); ++i) {
      Eigen::Matrix<double, 2, 3> row;
      row << 1, 0, -smears[i].from_middle.y(), 0, 1, smears[i].from_middle.x();
      normal += weight[i] * row.transpose() * row;
      right += weight[i] * row.transpose() * smears[i].vector_px;
    }
    out.shift_and_turn = normal.ldlt().solve(right);
    for (std::size_t i = 0; i < smears.size(); ++i)
      size[i] = (smears[i].vector_px - smear_at(out.shift_and_turn, smears[i].from_middle)).norm();
    const double scale = std::max(0.2, median(size));
    for (std::size_t i = 0; i < smears.size(); ++i) weight[i] = 1 / (1 + size[i] * size[i] / (scale * scale));
    // The median of a two-dimensional Gaussian error is 1.18 of its deviation on an axis; 1.5 allows for the
    // three unknowns.
    out.turn_sigma = 1.5 * scale / 1.18 * std::sqrt(normal.inverse()(2, 2));
  }
  return out;
}

}  // namespace

std::optional<RotationalBlur> rotational_blur(const std::vector<TileSpectrum>& spectra,
                                              const RegionGrid& regions, double noise_power,
                                              const SpectrumFit& whole) {
  const std::vector<LocalSmear> smears = local_smears(spectra, regions, noise_power, whole);
  if (static_cast<int>(smears.size()) < kLeastRegions) return std::nullopt;
  const Motion motion = fit_motion(smears);
  const Eigen::Vector2d middle = motion.shift_and_turn.head<2>();
  const double turn = std::abs(motion.shift_and_turn[2]);
  if (turn < kClearTurn * motion.turn_sigma || turn < kWorthTelling * middle.norm()) return std::nullopt;
  return RotationalBlur{middle.norm(), std::atan2(middle.y(), middle.x())};
}

}  // namespace lookdown::cull
