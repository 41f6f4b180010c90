#include "stages/cull/blur/blur_features.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

namespace lookdown::cull {
namespace {

constexpr std::array<double, kBands + 1> kRingEdges = {0.0,   0.022, 0.034, 0.047, 0.063, 0.083, 0.108, 0.138,
                                                       0.172, 0.21,  0.25,  0.295, 0.345, 0.41,  0.5};
constexpr int kSlowFirst = 3, kSlowLast = 4;  // rings whose mean is the level of the slow frequencies
constexpr int kFastRing = kBands - 2;

/// Where a frequency counts: in one ring and, by shares, in the two directions next to it.
struct BandPlace {
  int frequency;     ///< index into the spectrum
  int lower, upper;  ///< direction * kBands + ring
  float lower_weight, upper_weight;
};

/// All weights of a direction and ring add up to one, triangular over the angle. The axes are left out: block
/// edges of JPEG coding and the frame's own sides lie there.
const std::vector<BandPlace>& band_places() {
  static const std::vector<BandPlace> places = [] {
    const int side = kSpectralTile, columns = side / 2 + 1;
    std::vector<BandPlace> all;
    std::array<float, kAxes * kBands> sums{};
    for (int y = 0; y < side; ++y)
      for (int x = 2; x < columns; ++x) {
        const int row = y <= side / 2 ? y : y - side;
        const double f = std::hypot(x, row) / side;
        if (std::abs(row) < 2 || f >= kRingEdges[kBands]) continue;
        const auto ring = static_cast<int>(std::upper_bound(kRingEdges.begin(), kRingEdges.end(), f) -
                                           kRingEdges.begin() - 1);
        double angle = std::atan2(-row, x);
        if (angle < 0) angle += std::numbers::pi;
        const double position = angle / std::numbers::pi * kAxes;
        const int low = static_cast<int>(position);
        const auto share = static_cast<float>(position - low);
        all.push_back({y * columns + x, (low % kAxes) * kBands + ring, ((low + 1) % kAxes) * kBands + ring,
                       1 - share, share});
        sums[all.back().lower] += 1 - share;
        sums[all.back().upper] += share;
      }
    for (BandPlace& at : all) at.lower_weight /= sums[at.lower], at.upper_weight /= sums[at.upper];
    return all;
  }();
  return places;
}

float slow_level(const DirectionBands& bands) {
  return bands.middleCols<kSlowLast - kSlowFirst + 1>(kSlowFirst).mean();
}

float log_of(double value, double least) {
  return static_cast<float>(std::log(std::max(value, least)));
}

/// Of the widths that the parts have in a direction the second smallest, or the only one: one part alone may
/// err.
std::optional<double> second_narrowest(const std::vector<DirectedWidth>& regions, double direction_rad) {
  std::vector<double> widths;
  for (const DirectedWidth& region : regions) widths.push_back(region.along_px(direction_rad));
  if (widths.empty()) return std::nullopt;
  std::sort(widths.begin(), widths.end());
  return widths[std::min<std::size_t>(1, widths.size() - 1)];
}

Eigen::Matrix<float, 1, kBands> row_at(const DirectionBands& bands, double position) {
  const double whole = std::floor(position);
  const int low = ((static_cast<int>(whole) % kAxes) + kAxes) % kAxes;
  const auto share = static_cast<float>(position - whole);
  return bands.row(low) * (1 - share) + bands.row((low + 1) % kAxes) * share;
}

}  // namespace

DirectionBands direction_bands(const cv::Mat& log_periodogram) {
  DirectionBands bands = DirectionBands::Zero();
  const auto* power = log_periodogram.ptr<float>();
  for (const BandPlace& at : band_places()) {
    bands.data()[at.lower] += at.lower_weight * power[at.frequency];
    bands.data()[at.upper] += at.upper_weight * power[at.frequency];
  }
  return bands;
}

DirectionalFeatures directional_features(const DirectionBands& bands, double position) {
  DirectionalFeatures out;
  const float level = slow_level(bands);
  for (int k = 0; k < kRelative; ++k) {
    const bool mirrored = k > 0 && k < kRelative - 1;
    auto row = row_at(bands, position + k);
    if (mirrored) row = (row + row_at(bands, position - k)) / 2;
    out.segment<kBands>(k * kBands) = (row.array() - level).matrix().transpose();
  }
  out[kRelative * kBands] = level;
  out[kRelative * kBands + 1] = bands.col(kFastRing).mean();
  return out;
}

double DirectedWidth::along_px(double angle_rad) const {
  return std::hypot(widest_px * std::cos(angle_rad - direction_rad),
                    narrowest_px * std::sin(angle_rad - direction_rad));
}

double DirectedWidth::smear_px() const {
  return std::sqrt(std::max(0.0, 12 * (widest_px * widest_px - narrowest_px * narrowest_px)));
}

DirectedWidth directed_width(const std::array<double, kAxes>& widths_px) {
  // Equally spaced directions make the three basis functions orthogonal: the fit is a discrete Fourier sum.
  double c0 = 0, c1 = 0, c2 = 0;
  for (int k = 0; k < kAxes; ++k) {
    const double square = widths_px[k] * widths_px[k], twice = 2 * std::numbers::pi * k / kAxes;
    c0 += square / kAxes;
    c1 += 2 * square * std::cos(twice) / kAxes;
    c2 += 2 * square * std::sin(twice) / kAxes;
  }
  const double amplitude = std::hypot(c1, c2);
  return {std::atan2(c2, c1) / 2, std::sqrt(c0 + amplitude), std::sqrt(std::max(1e-3, c0 - amplitude))};
}

WholeFeatures whole_features(const DirectionBands& bands, const SpectrumContext& context,
                             const DirectedWidth& start) {
  WholeFeatures out;
  out.head<kDirectionalFeatures>() =
      directional_features(bands, start.direction_rad / std::numbers::pi * kAxes);
  out.tail<4>() << static_cast<float>(std::log(context.tiles + 1.0)),
      static_cast<float>(context.middle_over_noise), log_of(start.smear_px(), 0.1),
      log_of(start.narrowest_px, 0.05);
  return out;
}

SpectrumFits fit_shapes(const SpectrumSamples& samples) {
  return {fit_spectrum(samples, BlurShape::none), fit_spectrum(samples, BlurShape::motion),
          fit_spectrum(samples, BlurShape::disc)};
}

EvidenceFeatures evidence_features(const Eigen::VectorXf& first_answer, const SpectrumContext& context,
                                   const DirectedWidth& start, const SpectrumFits& fits,
                                   const EdgeHistogram& edges, const std::vector<DirectedWidth>& regions) {
  const SpectrumFit &gaussian = fits.gaussian, &smear = fits.smear, &disc = fits.disc;
  const auto unexplained = [](const SpectrumFit& fit) { return std::log(fit.cost + 0.05); };
  const auto number = [](double value) { return static_cast<float>(value); };
  const double along_rad = smear.direction_rad, across_rad = along_rad + std::numbers::pi / 2;
  const double uneven =
      Eigen::Map<const Eigen::Array<double, kContentAngles, 1>>(smear.content.data()).square().mean();
  EvidenceFeatures out;
  out << first_answer.cwiseMax(-10.0F).cwiseMin(10.0F),
      // the fits
      number(unexplained(smear)), number(unexplained(gaussian) - unexplained(smear)),
      number(unexplained(gaussian) - unexplained(disc)), number(unexplained(smear) - unexplained(disc)),
      log_of(smear.length_px, 0.3), log_of(disc.length_px, 0.2), number(std::sqrt(smear.variance_px2)),
      number(std::sqrt(gaussian.variance_px2)), number(std::sqrt(disc.variance_px2)), number(gaussian.slope),
      number(smear.slope), number(disc.slope), number(smear.log_filled), number(disc.log_filled),
      number(std::sqrt(uneven)),
      number(std::clamp(smear.level - smear.floor + 1.4 * smear.slope, -5.0,
                        15.0)),  // signal over floor at a quarter cycle a pixel
      log_of(start.smear_px(), 0.1), number(std::abs(std::cos(along_rad - start.direction_rad))),
      log_of(context.tiles + 1.0, 1),
      // the edges
      log_of(edges.quantile(0.25, along_rad), 0.2), log_of(edges.quantile(0.25, across_rad), 0.2),
      log_of(edges.quantile(0.5, along_rad), 0.2), log_of(edges.quantile(0.5, across_rad), 0.2),
      log_of(edges.quantile(0.1), 0.2), log_of(edges.count(along_rad) + 3, 1), log_of(edges.count() + 3, 1),
      log_of(edges.quantile(0.1, along_rad), 0.2), log_of(edges.quantile(0.1, across_rad), 0.2),
      // the parts: a blur leaves none of them out
      log_of(second_narrowest(regions, along_rad).value_or(start.along_px(along_rad)), 0.2),
      log_of(second_narrowest(regions, across_rad).value_or(start.along_px(across_rad)), 0.2),
      log_of(static_cast<double>(regions.size()) + 1, 1);
  return out;
}

}  // namespace lookdown::cull
