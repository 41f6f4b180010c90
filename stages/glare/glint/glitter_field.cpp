#include "stages/glare/glint/glitter_field.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "stages/glare/picture/plane_math.h"

namespace lookdown::glare {
namespace {

// How far `plane` is from its mean over the tiles around that weigh something.
cv::Mat away_from(const cv::Mat& plane, const cv::Mat& weight) {
  constexpr double kReachTiles = 2.5;
  cv::Mat sum, weights;
  cv::GaussianBlur(plane.mul(weight), sum, {0, 0}, kReachTiles);
  cv::GaussianBlur(weight, weights, {0, 0}, kReachTiles);
  return cv::abs(plane - sum / (weights + 1e-6f));
}

cv::Mat share_of_tiles(const cv::Mat& mask, cv::Size grid) {
  cv::Mat padded, share;
  cv::copyMakeBorder(mask, padded, 0, grid.height * kGlitterTilePx - mask.rows, 0,
                     grid.width * kGlitterTilePx - mask.cols, cv::BORDER_REPLICATE);
  cv::resize(padded, share, grid, 0, 0, cv::INTER_AREA);
  return share;
}

// Where white covers a tile there is no dark side; what lies amid the field is of it.
void fill_holes(cv::Mat& field) {
  constexpr int kMostTiles = 9;
  cv::Mat labels, stats, centroids;
  const int count = cv::connectedComponentsWithStats(~field, labels, stats, centroids, 4, CV_32S);
  for (int label = 1; label < count; ++label)
    if (stats.at<int>(label, cv::CC_STAT_AREA) <= kMostTiles) field.setTo(255, labels == label);
}

// Tiles tell that something glitters, not where it ends: a tile that reaches over the shore fails as a whole.
// Near the tiles' outline the borders of patches decide.
cv::Mat to_borders(const cv::Mat& field, const Patches& patches) {
  constexpr double kReachTiles = 1, kEven = 0.5, kSteepness = 12;
  const cv::Size size = patches.labels.size();
  cv::Mat likely;
  over_tiles(field, size, cv::INTER_NEAREST).convertTo(likely, CV_32FC1, kSteepness / 255);
  likely = blurred(likely, kReachTiles * kGlitterTilePx) - kEven * kSteepness;
  return cut_along_borders(patches, patches.means_inside({likely})[0]);
}

// Regions that may be amid glitter, of which some surely is and enough lies in or beside water.
cv::Mat likely_regions(const UsualLook& usual, const cv::Mat& wet) {
  constexpr double kLikely = 0.5, kSure = 0.9, kLeastWet = 0.2, kLargeShare = 0.05;
  constexpr int kLeastTiles = 40, kLeastSureTiles = 10;
  const cv::Mat sure = usual.glitter > kSure, like_water = share_of_tiles(usual.water > 0, wet.size()) > 127;
  cv::Mat labels, region, field = cv::Mat::zeros(wet.size(), CV_8UC1);
  const int count = cv::connectedComponents((usual.glitter > kLikely) & like_water, labels, 4, CV_32S);
  for (int label = 1; label < count; ++label) {
    const cv::Mat own = labels == label;
    const int sure_tiles = cv::countNonZero(sure & own);
    if (cv::countNonZero(own) < kLeastTiles || sure_tiles < kLeastSureTiles) continue;
    if (sure_tiles > kLargeShare * static_cast<double>(own.total())) {
      field |= own;
      continue;
    }
    cv::dilate(own, region, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
    if (cv::countNonZero(region & wet) > kLeastWet * cv::countNonZero(region)) field |= own;
  }
  return field;
}

// Goes on, tile by tile, into what has as strong a contrast of uncoloured light over a dark side of the
// water's own colour; bands narrower than some tiles (stones, crust, boards along the water) are not entered.
cv::Mat grown(cv::Mat field, const GlitterTiles& tiles, const cv::Mat& wet) {
  // A contrast of 0.7 spares foam and some crust, and loses as much glitter; a limit on how uneven the dark
  // side is loses that of another renderer.
  constexpr double kLeastContrast = 0.6, kLeastNeutral = 0.6, kMostLighter = 1.1, kMostColourOff = 0.25;
  constexpr int kMostSteps = 40, kBand = 5;
  cv::Mat glitters = (tiles.contrast > kLeastContrast) & (tiles.neutral > kLeastNeutral);
  cv::morphologyEx(glitters, glitters, cv::MORPH_OPEN,
                   cv::getStructuringElement(cv::MORPH_RECT, {kBand, kBand}));
  for (int step = 0; step < kMostSteps; ++step) {
    cv::Mat weight, near;
    cv::Mat(wet | field).convertTo(weight, CV_32FC1, 1 / 255.0);
    cv::dilate(field, near, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
    const cv::Mat larger = field | (near & glitters & (away_from(tiles.luminance, weight) < kMostLighter) &
                                    (away_from(tiles.red_green, weight) < kMostColourOff) &
                                    (away_from(tiles.blue_green, weight) < kMostColourOff));
    if (cv::countNonZero(larger) == cv::countNonZero(field)) break;
    field = larger;
  }
  return field;
}

}  // namespace

cv::Mat glitter_field(const UsualLook& usual, const Patches& patches, const cv::Mat& water,
                      const cv::Mat& specks) {
  const cv::Size grid = usual.glitter.size();
  const cv::Mat wet = share_of_tiles(water, grid) > 127;
  cv::Mat field = grown((wet & (share_of_tiles(specks, grid) > 100)) | usual.tiles.dense, usual.tiles, wet) |
                  likely_regions(usual, wet);
  if (cv::countNonZero(field) == 0) return cv::Mat::zeros(water.size(), CV_8UC1);
  fill_holes(field);
  return to_borders(field, patches);
}

}  // namespace lookdown::glare
