// Fits the two networks of stages/cull to spectra made by make_blur_spectra, scores them on photographs that the fit has not seen, and writes
// them.
//   fit_blur_networks score SPECTRA...            fits on three quarters of the photographs, prints the scores on the rest
//   fit_blur_networks write FOLDER SPECTRA...     fits on everything and writes FOLDER/axis_width_network.inc and FOLDER/whole_network.inc
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <numbers>
#include <string>

#include "labelled_spectrum.h"
#include "network_training.h"
#include "separation.h"
#include "stages/cull/blur_estimate.h"

namespace {

using namespace lookdown;
using bench::LabelledSpectrum;
using Matrix = Eigen::MatrixXf;

constexpr double kPi = std::numbers::pi;

bool held_out(const LabelledSpectrum& s) { return s.source >= 0 && s.source % 4 == 3; }

double width_along(const LabelledSpectrum& s, double angle_rad) {
  const double along = s.recipe.smear_px * std::cos(angle_rad - s.recipe.smear_deg * kPi / 180);
  return std::sqrt(s.sigma_px() * s.sigma_px() + along * along / 12);
}

cull::BlurNetwork fit_axis_network(const std::vector<LabelledSpectrum>& spectra, int rounds) {
  const auto count = static_cast<Eigen::Index>(spectra.size()) * cull::kAxes;
  Matrix inputs(cull::kAxisFeatures, count);
  Eigen::RowVectorXf wanted(count);
  Eigen::Index at = 0;
  for (const LabelledSpectrum& s : spectra)
    for (int k = 0; k < cull::kAxes; ++k, ++at) {
      inputs.col(at) = cull::axis_features(s.bands, k);
      wanted[at] = static_cast<float>(std::log(width_along(s, k * kPi / cull::kAxes)));
    }
  bench::TrainingOptions options;
  options.rounds = rounds;
  options.batch = 512;
  options.first_rate = 3e-3;
  const auto gradient = [&](const Matrix& outputs, const std::vector<int>& members) {
    Matrix g(1, outputs.cols());
    for (Eigen::Index i = 0; i < outputs.cols(); ++i) g(0, i) = std::clamp(outputs(0, i) - wanted[members[i]], -0.3F, 0.3F);
    return g;
  };
  return bench::fit_network(inputs, gradient, options);
}

cull::DirectedWidth coarse(const cull::BlurNetwork& network, const LabelledSpectrum& s) {
  std::array<double, cull::kAxes> widths{};
  for (int k = 0; k < cull::kAxes; ++k) widths[k] = std::exp(network.evaluate(cull::axis_features(s.bands, k))[0]);
  return cull::directed_width(widths);
}

struct Fitted {
  cull::DirectedWidth start;
  cull::SpectrumFits fits;
  cull::WholeFeatures features;
};

std::vector<Fitted> fit_all(const cull::BlurNetwork& axis_network, const std::vector<LabelledSpectrum>& spectra) {
  std::vector<Fitted> out;
  for (const LabelledSpectrum& s : spectra) {
    Fitted f;
    f.start = coarse(axis_network, s);
    f.fits = cull::fit_both(bench::with_frequencies(s.log_power), f.start);
    f.features = cull::whole_features(s.bands, s.context, f.start, f.fits.without_smear, f.fits.with_smear);
    out.push_back(f);
  }
  return out;
}

float logistic(float x) { return 1 / (1 + std::exp(-x)); }

/// Sum of: cross entropy for the two odds, Huber for the logarithms of the lengths, Laplace likelihood for the spread.
Matrix whole_gradient(const Matrix& out, const std::vector<const LabelledSpectrum*>& spectra, const std::vector<int>& members) {
  Matrix g = Matrix::Zero(out.rows(), out.cols());
  for (Eigen::Index i = 0; i < out.cols(); ++i) {
    const LabelledSpectrum& s = *spectra[members[i]];
    const auto error = [&](int row, double wanted) { return out(row, i) - static_cast<float>(wanted); };
    const auto huber = [](float e) { return 2 * std::clamp(e, -0.5F, 0.5F); };
    if (s.sharp() || s.blurred()) g(cull::kLogOddsBlurred, i) = logistic(out(cull::kLogOddsBlurred, i)) - (s.blurred() ? 1.0F : 0.0F);
    g(cull::kLogNarrowest, i) = huber(error(cull::kLogNarrowest, std::log(s.sigma_px())));
    const float widest = error(cull::kLogWidest, std::log(s.widest_px()));
    const float spread = std::exp(std::clamp(out(cull::kLogWidestSpread, i), -4.0F, 2.0F));
    g(cull::kLogWidest, i) = huber(widest) + 0.3F * (widest > 0 ? 1.0F : -1.0F) / (spread + 0.1F);
    g(cull::kLogWidestSpread, i) = std::clamp(0.3F * (1 - std::abs(widest) / spread), -1.0F, 1.0F);
    if (s.smeared()) g(cull::kLogSmear, i) = huber(error(cull::kLogSmear, std::log(s.recipe.smear_px)));
    if (!s.smeared() || s.recipe.smear_px >= 3) g(cull::kLogOddsSmeared, i) = logistic(out(cull::kLogOddsSmeared, i)) - (s.smeared() ? 1.0F : 0.0F);
  }
  return g;
}

cull::BlurNetwork fit_whole_network(const std::vector<const LabelledSpectrum*>& spectra, const std::vector<const Fitted*>& fitted, int rounds) {
  Matrix inputs(cull::kWholeFeatures, static_cast<Eigen::Index>(spectra.size()));
  for (std::size_t i = 0; i < spectra.size(); ++i) inputs.col(static_cast<Eigen::Index>(i)) = fitted[i]->features;
  bench::TrainingOptions options;
  options.outputs = cull::kWholeOutputs;
  options.rounds = rounds;
  return bench::fit_network(
      inputs, [&](const Matrix& out, const std::vector<int>& members) { return whole_gradient(out, spectra, members); }, options);
}

void print_scores(const char* name, const std::vector<const LabelledSpectrum*>& spectra, const std::vector<const Fitted*>& fitted,
                  const cull::BlurNetwork& network) {
  std::vector<double> sharp_odds, blurred_odds, sharp_width, blurred_width, length_error, fit_length_error, turn_error, sigma_error;
  for (std::size_t i = 0; i < spectra.size(); ++i) {
    const LabelledSpectrum& s = *spectra[i];
    const Eigen::VectorXf out = network.evaluate(fitted[i]->features);
    const cull::SpectrumFit& fit = fitted[i]->fits.with_smear;
    if (s.sharp()) sharp_odds.push_back(out[cull::kLogOddsBlurred]), sharp_width.push_back(out[cull::kLogWidest]);
    if (s.blurred()) blurred_odds.push_back(out[cull::kLogOddsBlurred]), blurred_width.push_back(out[cull::kLogWidest]);
    if (s.smeared() && s.recipe.smear_px >= 4 && s.recipe.smear_px <= 25) {
      length_error.push_back(std::abs(std::exp(out[cull::kLogSmear]) / s.recipe.smear_px - 1));
      fit_length_error.push_back(std::abs(fit.smear_px / s.recipe.smear_px - 1));
      const double turn = std::fmod(fit.direction_rad * 180 / kPi - s.recipe.smear_deg + 90 + 3600, 180) - 90;
      turn_error.push_back(std::abs(turn));
    }
    if (s.recipe.kind == "gauss" && s.recipe.sigma_px >= 1.3) sigma_error.push_back(std::abs(std::exp(out[cull::kLogNarrowest]) / s.sigma_px() - 1));
  }
  std::printf("%-9s %5zu spectra | area by odds %.4f by width %.4f, balanced %.3f (at log odds %.2f) | length: fit %.3f network %.3f, direction %.2f deg | sigma %.3f\n",
              name, spectra.size(), bench::area_under_curve(blurred_odds, sharp_odds), bench::area_under_curve(blurred_width, sharp_width),
              bench::best_balanced(blurred_odds, sharp_odds).accuracy, bench::best_balanced(blurred_odds, sharp_odds).limit, bench::median(fit_length_error),
              bench::median(length_error), bench::median(turn_error), bench::median(sigma_error));
}

}  // namespace

int main(int argc, char** argv) {
  const std::string what = argc > 1 ? argv[1] : "";
  const int first = what == "write" ? 3 : 2;
  if ((what != "write" && what != "score") || argc <= first) {
    std::cerr << "fit_blur_networks score SPECTRA... | write FOLDER SPECTRA...\n";
    return 2;
  }
  std::vector<LabelledSpectrum> all;
  for (int i = first; i < argc; ++i)
    for (auto& s : bench::read_spectra(argv[i])) all.push_back(std::move(s));
  std::vector<LabelledSpectrum> learnt;
  for (const auto& s : all)
    if (what == "write" || !held_out(s)) learnt.push_back(s);

  const cull::BlurNetwork axis_network = fit_axis_network(learnt, 25);
  const std::vector<Fitted> fitted = fit_all(axis_network, all);
  std::vector<const LabelledSpectrum*> spectra[2];
  std::vector<const Fitted*> fits[2];
  for (std::size_t i = 0; i < all.size(); ++i) {
    const int part = what == "score" && held_out(all[i]) ? 1 : 0;
    spectra[part].push_back(&all[i]);
    fits[part].push_back(&fitted[i]);
  }
  const cull::BlurNetwork whole_network = fit_whole_network(spectra[0], fits[0], 60);
  print_scores("learnt", spectra[0], fits[0], whole_network);
  if (what == "score") {
    print_scores("held out", spectra[1], fits[1], whole_network);
    return 0;
  }
  std::ofstream axis(std::string(argv[2]) + "/axis_width_network.inc"), whole(std::string(argv[2]) + "/whole_network.inc");
  bench::write_network(axis, "kAxisWidthNetwork", axis_network);
  bench::write_network(whole, "kWholeNetwork", whole_network);
  return 0;
}
