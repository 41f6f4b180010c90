#include "stages/cull/blur/high_frequency_residue.h"

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "pipeline/imaging/resampling/halving.h"
#include "stages/cull/blur/blur_features.h"

namespace lookdown::cull {
namespace {

constexpr int kFirstRing = 2, kRings = 8;  // of DirectionBands: 0.034 to 0.25 cycles/px
constexpr int kCoarseSide = 32;
constexpr double kLeastDeviation = 2;  // levels of 255: keeps a picture of nothing finite

double log_of_coarse_variance(const cv::Mat& overview) {
  cv::Mat grey, coarse;
  cv::cvtColor(halved_until(overview, 8 * kCoarseSide), grey, cv::COLOR_BGR2GRAY);
  cv::resize(grey, coarse, {kCoarseSide, kCoarseSide}, 0, 0, cv::INTER_AREA);
  cv::Scalar mean, deviation;
  cv::meanStdDev(coarse, mean, deviation);
  return 2 * std::log(deviation[0] + kLeastDeviation);
}

}  // namespace

double high_frequency_residue(const std::vector<TileSpectrum>& tiles, const cv::Mat& overview) {
  cv::Mat sum = cv::Mat::zeros(tiles.front().log_periodogram.size(), CV_32F);
  for (const TileSpectrum& tile : tiles) sum += tile.log_periodogram;
  const DirectionBands bands = direction_bands(sum / static_cast<double>(tiles.size()));
  return bands.middleCols<kRings>(kFirstRing).mean() - log_of_coarse_variance(overview);
}

}  // namespace lookdown::cull
