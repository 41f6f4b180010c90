#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "stages/cull/blur_of_edges.h"
#include "stages/cull/cull.h"
#include "stages/cull/exposure.h"
#include "stages/cull/signature.h"

namespace lookdown::cull {
namespace {

constexpr double kFwhmOfSigma = 2.354820045;  // 2 sqrt(2 ln 2)
constexpr int kTileLongSide = 6;              // tiles along the long side
constexpr int kLeastSide = 32;
// A smear this short cannot be told from an edge pattern that happens to be uneven.
constexpr double kLeastSmear_px = 1.5;

/// 1 for a blur of nothing, 0.5 at a standard deviation of 1.2 px in the widest direction, 0 for all is lost.
double sharpness_of(double widest_sigma_px) { return 1 / (1 + std::pow(widest_sigma_px / 1.2, 3)); }

double widest_sigma(const EdgeBlur& blur) {
  return std::sqrt(blur.sigma_px * blur.sigma_px + blur.smear_px * blur.smear_px / 12);
}

void measure_tiles(const cv::Mat& grey, Sharpness& out) {
  const int side = std::max(kLeastSide, std::max(grey.cols, grey.rows) / kTileLongSide);
  out.tile_columns = std::max(1, grey.cols / side);
  out.tile_rows = std::max(1, grey.rows / side);
  for (int row = 0; row < out.tile_rows; ++row)
    for (int column = 0; column < out.tile_columns; ++column) {
      const int x0 = column * grey.cols / out.tile_columns, x1 = (column + 1) * grey.cols / out.tile_columns;
      const int y0 = row * grey.rows / out.tile_rows, y1 = (row + 1) * grey.rows / out.tile_rows;
      const EdgeBlur blur = blur_of_edges(grey(cv::Rect(x0, y0, x1 - x0, y1 - y0)));
      TileBlur tile{column, row, std::nullopt, blur.detail};
      if (blur.detail >= 0.25) tile.blur_fwhm_px = kFwhmOfSigma * widest_sigma(blur);
      out.tiles.push_back(tile);
    }
}

}  // namespace

Sharpness measure(FramePixels& pixels, const FrameInfo&, const Options&) {
  Sharpness out;
  const cv::Mat& overview = pixels.bgr(pixels.reduction_for(1024));
  measure_exposure(overview, out);
  out.signature = make_signature(overview);

  const cv::Mat& grey = pixels.grey(1);
  if (std::min(grey.cols, grey.rows) < kLeastSide) return out;
  const EdgeBlur blur = blur_of_edges(grey);
  out.detail = blur.detail;
  measure_tiles(grey, out);
  if (blur.detail < 0.25) return out;
  const double sigma = widest_sigma(blur);
  out.blur_fwhm_px = kFwhmOfSigma * sigma;
  out.blur_sigma_share = blur.spread;
  out.sharpness = sharpness_of(sigma);
  out.smear_px = blur.smear_px >= kLeastSmear_px ? blur.smear_px : 0;
  if (*out.smear_px > 0) out.smear_deg = blur.smear_deg;
  return out;
}

}  // namespace lookdown::cull
