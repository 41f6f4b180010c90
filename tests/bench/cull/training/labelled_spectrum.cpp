#include "training/labelled_spectrum.h"

#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/cull/blur/region_bands.h"

namespace lookdown::bench {

std::optional<LabelledSpectrum> labelled_spectrum(const cv::Mat& bgr, int source, const BlurRecipe& recipe) {
  constexpr int kMostTiles = 160;  // as of a frame that is decoded in full
  cv::Mat grey;
  cv::cvtColor(bgr, grey, cv::COLOR_BGR2GRAY);
  std::vector<cull::TileSpectrum> tiles;
  for (const cv::Rect& where : cull::spectral_tiles(grey.size(), kMostTiles))
    tiles.push_back(cull::tile_spectrum(grey(where), where));
  const cull::MeanSpectrum mean = cull::mean_spectrum(tiles);
  if (mean.tiles == 0) return std::nullopt;
  LabelledSpectrum out{source,
                       recipe,
                       {mean.tiles, mean.middle_over_noise},
                       cull::direction_bands(mean.log_periodogram),
                       cull::fit_shapes(cull::samples_of(mean.wide_log_periodogram)),
                       mean.edges,
                       {}};
  for (const cull::RegionBands& region :
       cull::region_bands(tiles, mean.noise_power, cull::region_grid(grey.size())))
    if (region.bands) out.regions.push_back(*region.bands);
  return out;
}

}  // namespace lookdown::bench
