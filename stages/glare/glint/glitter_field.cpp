#include "stages/glare/glint/glitter_field.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "stages/glare/picture/plane_math.h"
#include "stages/glare/water/learned_look.h"

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
// Near the tiles' outline the borders of patches decide, and whether it usually is water.
cv::Mat to_borders(const cv::Mat& field, const UsualLook& usual, const Patches& patches) {
  constexpr double kReachTiles = 1, kEven = 0.5, kSteepness = 12;
  cv::Mat likely;
  over_tiles(field, usual.water.size(), cv::INTER_NEAREST).convertTo(likely, CV_32FC1, kSteepness / 255);
  likely = blurred(likely, kReachTiles * kGlitterTilePx) - kEven * kSteepness + usual.water;
  return cut_along_borders(patches, patches.means_inside({likely})[0]);
}

// What of the frame surely is wet or land: calm water and land away from the field, and in it what
// `glitters`.
LookSamples sure_patches(const cv::Mat& field, const cv::Mat& glitters, const Patches& patches,
                         const std::vector<Look>& looks, const cv::Mat& water) {
  constexpr int kReachPx = 2 * kGlitterTilePx;              // round the field, where nothing is sure
  constexpr float kAll = 0.9f, kMost = 0.5f, kNone = 0.1f;  // shares of a patch
  constexpr float kOfGlitter = 3;                           // weight: it is scarce and of many looks
  cv::Mat near;
  cv::dilate(field, near, cv::getStructuringElement(cv::MORPH_RECT, {2 * kReachPx + 1, 2 * kReachPx + 1}));
  const auto inside = patches.means_inside(
      {shares_of_mask(water | near), shares_of_mask(water & ~near), shares_of_mask(field & glitters)});
  LookSamples samples;
  for (std::size_t i = 0; i < patches.count(); ++i) {
    const bool glitter = inside[2][i] > kMost, wet = glitter || inside[1][i] > kAll;
    if (!wet && inside[0][i] > kNone) continue;
    samples.looks.push_back(looks[i]);
    samples.water.push_back(wet);
    samples.weights.push_back((glitter ? kOfGlitter : 1) * patches.area_px[i] / kPatchAreaPx);
  }
  return samples;
}

// Crust, stones and boards beside glitter have as strong a contrast as it has. What the frame's own land
// looks like, beside its water and what surely glitters, takes them out, as far as the frame holds enough of
// both.
cv::Mat off_land(const cv::Mat& field, const cv::Mat& glitters, const Patches& patches,
                 const std::vector<Look>& looks, const cv::Mat& water) {
  constexpr float kOfLook = 4;   // so that a clear look outweighs the outline's cost
  constexpr float kOfField = 3;  // log-odds of what the tiles say, where the look says little
  const auto learned = LearnedLook::from(sure_patches(field, glitters, patches, looks, water));
  if (!learned) return field;
  const std::vector<float> in_field = patches.means_inside({shares_of_mask(field)})[0];
  std::vector<float> log_odds = learned->log_odds(looks);
  for (std::size_t i = 0; i < log_odds.size(); ++i)
    log_odds[i] = kOfLook * log_odds[i] + kOfField * (2 * in_field[i] - 1);
  return field & cut_along_borders(patches, log_odds);
}

// Regions that may be amid glitter, of which some surely is and enough lies in or beside water.
cv::Mat likely_regions(const UsualLook& usual, const cv::Mat& wet) {
  constexpr double kLikely = 0.5, kSure = 0.9, kLeastWet = 0.2, kLargeShare = 0.05;
  constexpr int kLeastTiles = 20, kLeastSureTiles = 5;
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
    const cv::Mat weight = shares_of_mask(wet | field);
    cv::Mat near;
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

cv::Mat glitter_field(const UsualLook& usual, const Patches& patches,
                      const std::function<std::vector<Look>()>& looks, const cv::Mat& water,
                      const cv::Mat& specks) {
  const cv::Size grid = usual.glitter.size();
  const cv::Mat wet = share_of_tiles(water, grid) > 127;
  cv::Mat field = grown((wet & (share_of_tiles(specks, grid) > 100)) | usual.tiles.dense, usual.tiles, wet) |
                  likely_regions(usual, wet);
  if (cv::countNonZero(field) == 0) return cv::Mat::zeros(water.size(), CV_8UC1);
  fill_holes(field);
  constexpr double kGlitters = 0.7;
  const cv::Mat glitters = over_tiles(usual.glitter > kGlitters, water.size(), cv::INTER_NEAREST);
  return off_land(to_borders(field, usual, patches), glitters, patches, looks(), water);
}

}  // namespace lookdown::glare
