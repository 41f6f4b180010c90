#include "stages/mosaic/radiometry/colour_model.h"

#include <Eigen/Cholesky>
#include <Eigen/SparseCholesky>
#include <algorithm>
#include <cmath>
#include <map>
#include <string>

#include "pipeline/base/robust_statistics.h"
#include "stages/mosaic/radiometry/light_field.h"
#include "stages/mosaic/radiometry/overlaps.h"

namespace lookdown::mosaic {
namespace {

constexpr int kSpotsAPair = 80, kSpotsAPairForFields = 200;
constexpr int kRounds = 12;              // of reweighting; changes are far below a code value by then
constexpr double kLeastScatter = 0.01;   // of the logarithm: no residual is trusted better than 1 %
constexpr double kCorrelatedSpots = 25;  // neighbouring spots err alike: this many count as one measurement
constexpr double kExposureKnown = 0.15,
                 kExposureUnknown =
                     0.4;               // prior standard deviations of ln gain with and without Exif exposure
constexpr double kBalancePrior = 0.05;  // of the ratio of two channels
constexpr double kSlopePrior = 0.03;    // of the brightness across half a diagonal
constexpr double kVignettingPrior = 0.3;  // of each coefficient

/// ln of the light admitted, t ISO / N^2, when Exif tells all of it.
std::optional<double> log_exposure(const FrameInfo& info) {
  if (!info.exposure_s || !info.f_number || !info.iso || *info.exposure_s <= 0 || *info.f_number <= 0 ||
      *info.iso <= 0)
    return std::nullopt;
  return std::log(*info.exposure_s * *info.iso / (*info.f_number * *info.f_number));
}

/// A linear least-squares problem with robust rows (Cauchy weights) and Gaussian priors, solved by
/// reweighting.
class RobustSystem {
 public:
  using Row = std::vector<std::pair<int, double>>;
  explicit RobustSystem(int unknowns)
      : unknowns_(unknowns),
        prior_mean_(Eigen::VectorXd::Zero(unknowns)),
        prior_sigma_(Eigen::VectorXd::Ones(unknowns)) {}
  void prior(int unknown, double mean, double sigma) {
    prior_mean_[unknown] = mean;
    prior_sigma_[unknown] = sigma;
  }
  void row(Row terms, double value, double weight) {
    rows_.push_back(std::move(terms));
    values_.push_back(value);
    weights_.push_back(weight);
  }
  [[nodiscard]] Eigen::VectorXd solve(Eigen::VectorXd start) const {
    Eigen::VectorXd x = std::move(start);
    for (int round = 0; round < kRounds; ++round) x = weighted_solution(residuals(x));
    return x;
  }

 private:
  [[nodiscard]] std::vector<double> residuals(const Eigen::VectorXd& x) const {
    std::vector<double> left(rows_.size());
    for (std::size_t i = 0; i < rows_.size(); ++i) {
      left[i] = -values_[i];
      for (const auto& [unknown, factor] : rows_[i]) left[i] += factor * x[unknown];
    }
    return left;
  }
  [[nodiscard]] Eigen::VectorXd weighted_solution(const std::vector<double>& left) const {
    std::vector<double> sizes(left.size());
    std::transform(left.begin(), left.end(), sizes.begin(), [](double value) { return std::abs(value); });
    const double scatter = std::max(kLeastScatter, kSigmaOfMad * median(sizes));
    std::map<std::pair<int, int>, double> sums;
    Eigen::VectorXd right = Eigen::VectorXd::Zero(unknowns_);
    for (std::size_t i = 0; i < rows_.size(); ++i) {
      const double far = left[i] / (2.0 * scatter);
      const double weight = weights_[i] / (1 + far * far) / (scatter * scatter * kCorrelatedSpots);
      for (const auto& [a, factor_a] : rows_[i]) {
        right[a] += weight * factor_a * values_[i];
        for (const auto& [b, factor_b] : rows_[i])
          if (b <= a) sums[{a, b}] += weight * factor_a * factor_b;
      }
    }
    std::vector<Eigen::Triplet<double>> triplets;
    for (int a = 0; a < unknowns_; ++a) {
      const double weight = 1 / (prior_sigma_[a] * prior_sigma_[a]);
      sums[{a, a}] += weight;
      right[a] += weight * prior_mean_[a];
    }
    for (const auto& [place, sum] : sums) triplets.emplace_back(place.first, place.second, sum);
    Eigen::SparseMatrix<double> normal(unknowns_, unknowns_);
    normal.setFromTriplets(triplets.begin(), triplets.end());
    return Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>>(normal).solve(right);
  }

  int unknowns_;
  Eigen::VectorXd prior_mean_, prior_sigma_;
  std::vector<Row> rows_;
  std::vector<double> values_, weights_;
};

/// Gains from overlap means as the start of the robust solution: outliers are told from wrong exposures more
/// safely when exposures are nearly right.
Eigen::VectorXd first_log_gains(int count, const std::vector<SharedSpot>& spots) {
  Eigen::MatrixXd counts = Eigen::MatrixXd::Zero(count, count), sums = Eigen::MatrixXd::Zero(count, count);
  for (const SharedSpot& spot : spots) {
    counts(spot.first, spot.second) += spot.weight;
    sums(spot.first, spot.second) += spot.weight * 255 * spot.luminance[0];
    sums(spot.second, spot.first) += spot.weight * 255 * spot.luminance[1];
  }
  counts = (counts + counts.transpose()).eval();
  const Eigen::MatrixXd means =
      (counts.array() > 0).select(sums.array() / counts.array().max(1e-9), 0.0).matrix();
  constexpr double kSigmaLevel = 10, kSigmaGain = 0.1;  // values of the paper
  return overlap_gains(counts, means, kSigmaLevel, kSigmaGain).array().max(0.05).log().matrix();
}

struct Lenses {
  std::vector<int> of_view;
  int count = 0;
};

Lenses lenses_of(const FlightRecord& flight, const std::vector<FrameView>& views) {
  Lenses lenses;
  std::map<std::string, int> numbers;
  for (const FrameView& view : views)
    lenses.of_view.push_back(
        numbers.emplace(flight.frames[view.frame_index].info.camera_id, static_cast<int>(numbers.size()))
            .first->second);
  lenses.count = static_cast<int>(numbers.size());
  return lenses;
}

/// How far a flight's brightness follows the exposure that Exif tells: 1 under a steady sun; 0 when the
/// camera evened out passing clouds by itself. `sigma`: standard deviation of what is left, in natural
/// logarithms.
struct ExposureTrust {
  double share = 1, sigma = kExposureKnown;
};

/// From the overlaps, by a robust line through zero (Cauchy weights).
ExposureTrust exposure_trust(const std::vector<std::optional<double>>& exposures,
                             const std::vector<SharedSpot>& spots) {
  constexpr std::size_t kLeastSpots = 8, kLeastPairs = 4;
  constexpr double kLeastStep = 0.1;
  std::map<std::pair<int, int>, std::vector<double>> ratios;
  for (const SharedSpot& spot : spots)
    if (exposures[spot.first] && exposures[spot.second])
      ratios[{spot.first, spot.second}].push_back(std::log(spot.luminance[0] / spot.luminance[1]));
  std::vector<std::array<double, 2>> pairs;  // step of exposure, step of brightness
  for (const auto& [views, of_pair] : ratios) {
    const double step = *exposures[views.first] - *exposures[views.second];
    if (of_pair.size() >= kLeastSpots && std::abs(step) >= kLeastStep)
      pairs.push_back({step, median(of_pair)});
  }
  ExposureTrust trust;
  if (pairs.size() < kLeastPairs) return trust;
  std::vector<double> left(pairs.size());
  double scatter = kExposureUnknown;
  for (int round = 0; round < kRounds; ++round) {
    double products = 0, squares = 0;
    for (const auto& [step, brightness] : pairs) {
      const double far = (brightness - trust.share * step) / (2 * scatter), weight = 1 / (1 + far * far);
      products += weight * step * brightness, squares += weight * step * step;
    }
    trust.share = std::clamp(products / squares, 0.0, 1.0);
    std::transform(pairs.begin(), pairs.end(), left.begin(),
                   [&](const auto& pair) { return std::abs(pair[1] - trust.share * pair[0]); });
    scatter = std::max(kLeastScatter, kSigmaOfMad * median(left));
  }
  trust.sigma = std::clamp(scatter / std::sqrt(2.0), kExposureKnown, kExposureUnknown);
  return trust;
}

// Unknowns: for each view ln gain, slope along u, slope along v; then three vignetting terms for each lens.
void solve_brightness(const FlightRecord& flight, const std::vector<FrameView>& views,
                      const std::vector<SharedSpot>& spots, ColourModel& model) {
  const int count = static_cast<int>(views.size());
  const Lenses lenses = lenses_of(flight, views);
  RobustSystem system(3 * count + 3 * lenses.count);
  std::vector<std::optional<double>> exposures;
  std::vector<double> known;
  for (const FrameView& view : views) {
    exposures.push_back(log_exposure(flight.frames[view.frame_index].info));
    if (exposures.back()) known.push_back(*exposures.back());
  }
  const double usual = median(known);
  const ExposureTrust trust = exposure_trust(exposures, spots);
  for (int i = 0; i < count; ++i) {
    system.prior(3 * i, exposures[i] ? trust.share * (usual - *exposures[i]) : 0,
                 exposures[i] ? trust.sigma : kExposureUnknown);
    system.prior(3 * i + 1, 0, kSlopePrior);
    system.prior(3 * i + 2, 0, kSlopePrior);
  }
  for (int term = 0; term < 3 * lenses.count; ++term) system.prior(3 * count + term, 0, kVignettingPrior);
  for (const SharedSpot& spot : spots) {
    // ln L1 + g1 + s1 . uv1 - lnV(r1) = ln L2 + g2 + s2 . uv2 - lnV(r2)
    RobustSystem::Row row;
    const auto side = [&](int view, const std::array<double, 2>& uv, double sign) {
      row.emplace_back(3 * view, sign);
      row.emplace_back(3 * view + 1, sign * uv[0]);
      row.emplace_back(3 * view + 2, sign * uv[1]);
      const double square = uv[0] * uv[0] + uv[1] * uv[1];
      double power = square;
      for (int term = 0; term < 3; ++term, power *= square)
        row.emplace_back(3 * count + 3 * lenses.of_view[view] + term, -sign * power);
    };
    side(spot.first, spot.first_uv, 1);
    side(spot.second, spot.second_uv, -1);
    system.row(std::move(row), -std::log(spot.luminance[0] / spot.luminance[1]), spot.weight);
  }
  Eigen::VectorXd start = Eigen::VectorXd::Zero(3 * count + 3 * lenses.count);
  const Eigen::VectorXd gains = first_log_gains(count, spots);
  for (int i = 0; i < count; ++i) start[3 * i] = gains[i];
  const Eigen::VectorXd x = system.solve(start);
  double mean = 0;
  for (int i = 0; i < count; ++i) mean += x[3 * i] / count;
  for (int i = 0; i < count; ++i) {
    for (double& gain : model[i].log_gain) gain = x[3 * i] - mean;
    model[i].log_slope = {x[3 * i + 1], x[3 * i + 2]};
    for (int term = 0; term < 3; ++term)
      model[i].vignetting[term] = x[3 * count + 3 * lenses.of_view[i] + term];
  }
}

// The ratio of blue and of red to green, on top of the brightness.
void solve_balance(const std::vector<SharedSpot>& spots, ColourModel& model) {
  const int count = static_cast<int>(model.size());
  std::array<Eigen::VectorXd, 2> ratios;
  for (int which = 0; which < 2; ++which) {
    const int channel = which == 0 ? 0 : 2;
    RobustSystem system(count);
    for (int i = 0; i < count; ++i) system.prior(i, 0, kBalancePrior);
    for (const SharedSpot& spot : spots)
      system.row({{spot.first, 1.0}, {spot.second, -1.0}}, -(spot.log_ratio[channel] - spot.log_ratio[1]),
                 spot.weight);
    ratios[which] = system.solve(Eigen::VectorXd::Zero(count));
    ratios[which].array() -= ratios[which].mean();
  }
  for (int i = 0; i < count; ++i) {
    // The brightness stays what it is: weights of ITU-R BT.709.
    const double shift = 0.0722 * ratios[0][i] + 0.2126 * ratios[1][i];
    model[i].log_gain[0] += ratios[0][i] - shift;
    model[i].log_gain[1] -= shift;
    model[i].log_gain[2] += ratios[1][i] - shift;
  }
}

}  // namespace

Eigen::VectorXd overlap_gains(const Eigen::MatrixXd& counts, const Eigen::MatrixXd& means, double sigma_level,
                              double sigma_gain) {
  const auto size = counts.rows();
  const double level = 1 / (sigma_level * sigma_level), gain = 1 / (sigma_gain * sigma_gain);
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(size, size);
  Eigen::VectorXd right = Eigen::VectorXd::Zero(size);
  for (Eigen::Index i = 0; i < size; ++i) {
    for (Eigen::Index j = 0; j < size; ++j) {
      if (i == j || counts(i, j) <= 0) continue;
      // Each pair stands twice in the double sum of the error function, as (i, j) and as (j, i); the prior
      // stands once for each.
      normal(i, i) += counts(i, j) * (2 * means(i, j) * means(i, j) * level + gain);
      normal(i, j) -= counts(i, j) * 2 * means(i, j) * means(j, i) * level;
      right[i] += counts(i, j) * gain;
    }
    if (normal(i, i) == 0) normal(i, i) = right[i] = 1;
  }
  return normal.ldlt().solve(right);
}

ColourModel unchanged_colours(const std::vector<FrameView>& views) {
  ColourModel model(views.size());
  for (std::size_t i = 0; i < views.size(); ++i) {
    model[i].width_px = views[i].camera.width_px;
    model[i].height_px = views[i].camera.height_px;
    model[i].centre_x_px = views[i].camera.cx_px;
    model[i].centre_y_px = views[i].camera.cy_px;
    model[i].half_diagonal_px = 0.5 * std::hypot(views[i].camera.width_px, views[i].camera.height_px);
  }
  return model;
}

ColourModel solve_colours(const FlightRecord& flight, const std::vector<FrameView>& views,
                          const Survey& survey) {
  ColourModel model = unchanged_colours(views);
  const std::vector<SharedSpot> spots = shared_spots(views, survey, kSpotsAPair);
  if (spots.empty()) return model;
  solve_brightness(flight, views, spots, model);
  solve_balance(spots, model);
  add_light_fields(views, shared_spots(views, survey, kSpotsAPairForFields), model);
  return model;
}

}  // namespace lookdown::mosaic
