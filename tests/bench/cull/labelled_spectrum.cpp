#include "labelled_spectrum.h"

#include <array>
#include <cmath>
#include <fstream>
#include <opencv2/imgproc.hpp>

namespace lookdown::bench {
namespace {

constexpr std::array<const char*, 4> kKinds = {"none", "smear", "gauss", "disc"};
constexpr std::size_t kNumbers = 12;

}  // namespace

double LabelledSpectrum::sigma_px() const {
  return std::hypot(recipe.lens_sigma_px, recipe.sigma_px);
}

double LabelledSpectrum::widest_px() const {
  return std::hypot(sigma_px(), recipe.smear_px / std::sqrt(12.0));
}

bool LabelledSpectrum::blurred() const {
  return recipe.smear_px >= 3 || recipe.sigma_px >= 1.3;
}

std::vector<LabelledSpectrum> labelled_spectrum(const cv::Mat& bgr, int source, const BlurRecipe& recipe) {
  cv::Mat grey;
  cv::cvtColor(bgr, grey, cv::COLOR_BGR2GRAY);
  std::vector<cull::TileSpectrum> tiles;
  for (const cv::Rect& where : cull::spectral_tiles(grey.size(), 160))
    tiles.push_back(cull::tile_spectrum(grey(where), where));
  const cull::MeanSpectrum mean = cull::mean_spectrum(tiles);
  if (mean.tiles == 0) return {};
  LabelledSpectrum out{
      source, recipe,    {mean.tiles, mean.middle_over_noise}, cull::direction_bands(mean.log_power),
      {},     mean.edges};
  out.log_power = cull::samples_of(mean.wide_log_power).log_power;
  return {out};
}

void append_to_file(const std::filesystem::path& path, const LabelledSpectrum& s) {
  std::ofstream file(path, std::ios::binary | std::ios::app);
  float kind = 0;
  for (std::size_t i = 0; i < kKinds.size(); ++i)
    if (s.recipe.kind == kKinds[i]) kind = static_cast<float>(i);
  const std::array<float, kNumbers> numbers = {static_cast<float>(s.source),
                                               kind,
                                               static_cast<float>(s.recipe.lens_sigma_px),
                                               static_cast<float>(s.recipe.smear_px),
                                               static_cast<float>(s.recipe.smear_deg),
                                               static_cast<float>(s.recipe.sigma_px),
                                               static_cast<float>(s.recipe.noise_levels),
                                               static_cast<float>(s.recipe.jpeg_quality),
                                               static_cast<float>(s.recipe.sharpening),
                                               static_cast<float>(s.context.tiles),
                                               static_cast<float>(s.context.middle_over_noise),
                                               static_cast<float>(s.log_power.size())};
  const auto write = [&](const float* first, std::size_t count) {
    file.write(reinterpret_cast<const char*>(first), static_cast<std::streamsize>(count * sizeof(float)));
  };
  write(numbers.data(), kNumbers);
  write(s.bands.data(), static_cast<std::size_t>(s.bands.size()));
  write(s.log_power.data(), s.log_power.size());
  for (const auto& direction : s.edges.counts) write(direction.data(), direction.size());
}

std::vector<LabelledSpectrum> read_spectra(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  const auto read = [&](float* first, std::size_t count) {
    return static_cast<bool>(
        file.read(reinterpret_cast<char*>(first), static_cast<std::streamsize>(count * sizeof(float))));
  };
  std::vector<LabelledSpectrum> out;
  std::array<float, kNumbers> n{};
  while (read(n.data(), kNumbers)) {
    LabelledSpectrum s;
    s.source = static_cast<int>(n[0]);
    s.recipe.kind = kKinds.at(static_cast<std::size_t>(n[1]));
    s.recipe.lens_sigma_px = n[2];
    s.recipe.smear_px = n[3];
    s.recipe.smear_deg = n[4];
    s.recipe.sigma_px = n[5];
    s.recipe.noise_levels = n[6];
    s.recipe.jpeg_quality = static_cast<int>(n[7]);
    s.recipe.sharpening = n[8];
    s.context = {static_cast<int>(n[9]), n[10]};
    s.log_power.resize(static_cast<std::size_t>(n[11]));
    if (!read(s.bands.data(), static_cast<std::size_t>(s.bands.size())) ||
        !read(s.log_power.data(), s.log_power.size()))
      break;
    for (auto& direction : s.edges.counts)
      if (!read(direction.data(), direction.size())) return out;
    out.push_back(std::move(s));
  }
  return out;
}

cull::SpectrumSamples with_frequencies(const std::vector<float>& log_power) {
  static const cull::SpectrumSamples frequencies =
      cull::samples_of(cv::Mat::zeros(cull::kSpectralTile, cull::kSpectralTile / 2 + 1, CV_32F));
  cull::SpectrumSamples samples = frequencies;
  samples.log_power = log_power;
  return samples;
}

}  // namespace lookdown::bench
