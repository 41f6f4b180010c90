#include "stages/glare/across/detail_match.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <opencv2/core/hal/intrin.hpp>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "stages/glare/across/tile_guide.h"
#include "stages/glare/picture/plane_math.h"

namespace lookdown::glare {
namespace {

constexpr int kMostShiftPx = 4, kShifts = 2 * kMostShiftPx + 1;
constexpr int kMiddle = 128;
// Chance gives a correlation of 0.4 over a tile, and ground that placing brings within some pixels 0.9.
constexpr float kStands = 0.75f, kMoves = 0.5f;

cv::Mat by_tile(const cv::Mat& plane) {
  cv::Mat cropped = plane(cv::Rect(0, 0, plane.cols / kDetailTilePx * kDetailTilePx,
                                   plane.rows / kDetailTilePx * kDetailTilePx)),
          out;
  if (cropped.empty()) return {};
  cv::resize(cropped, out, {cropped.cols / kDetailTilePx, cropped.rows / kDetailTilePx}, 0, 0,
             cv::INTER_AREA);
  return out;
}

using Sums = std::array<float, kShifts * kShifts>;

// Products of a tile with the other view at each shift.
Sums products(const cv::Mat& own, const cv::Mat& other, int left, int top) {
  constexpr int kLanes = cv::v_int16x8::nlanes;
  static_assert(kDetailTilePx == 2 * kLanes);
  std::array<cv::v_int16x8, kDetailTilePx> near, far;  // halves of the tile's rows
  for (std::size_t y = 0; y < near.size(); ++y) {
    const auto* row = own.ptr<std::int16_t>(top + static_cast<int>(y)) + left;
    near[y] = cv::v_load(row);
    far[y] = cv::v_load(row + kLanes);
  }
  Sums sums;
  for (int dy = 0; dy < kShifts; ++dy)
    for (int dx = 0; dx < kShifts; ++dx) {
      cv::v_int32x4 sum = cv::v_setzero_s32();
      for (std::size_t y = 0; y < near.size(); ++y) {
        const auto* row = other.ptr<std::int16_t>(top + dy + static_cast<int>(y)) + left + dx;
        sum = cv::v_dotprod(near[y], cv::v_load(row), sum);
        sum = cv::v_dotprod(far[y], cv::v_load(row + kLanes), sum);
      }
      sums[std::size_t{kShifts} * static_cast<std::size_t>(dy) + static_cast<std::size_t>(dx)] =
          static_cast<float>(cv::v_reduce_sum(sum));
    }
  return sums;
}

float squares(const cv::Mat& plane, int left, int top) {
  const cv::Mat tile = plane(cv::Rect(left, top, kDetailTilePx, kDetailTilePx));
  return static_cast<float>(tile.dot(tile));
}

// The power that a share of the tiles which match fall below; `otherwise` where few match.
float power_of_ground(const cv::Mat& power, const cv::Mat& correlation, double share, float otherwise) {
  constexpr float kMatches = 0.85f;
  constexpr std::size_t kLeastTiles = 50;
  std::vector<float> powers;
  for (int y = 0; y < power.rows; ++y)
    for (int x = 0; x < power.cols; ++x)
      if (correlation.at<float>(y, x) > kMatches) powers.push_back(power.at<float>(y, x));
  if (powers.size() < kLeastTiles) return otherwise;
  const auto middle = powers.begin() + static_cast<long>(share * static_cast<double>(powers.size()));
  std::nth_element(powers.begin(), middle, powers.end());
  return *middle;
}

// Puts the correlation of the tiles `asked` (CV_8UC1) with the other view where it exceeds what is there.
void match(const cv::Mat& own, const cv::Mat& other_even, const cv::Mat& asked, cv::Mat& correlation) {
  cv::Mat other;
  other_even.convertTo(other, CV_16SC1, 1, -kMiddle);
  cv::copyMakeBorder(other, other, kMostShiftPx, kMostShiftPx, kMostShiftPx, kMostShiftPx,
                     cv::BORDER_CONSTANT);
  const cv::Size tiles = correlation.size();
  std::vector<Sums> sums(static_cast<std::size_t>(tiles.area()), Sums{});
  const auto at = [&](int row, int column) -> Sums& {
    return sums[static_cast<std::size_t>(row) * static_cast<std::size_t>(tiles.width) +
                static_cast<std::size_t>(column)];
  };
  for (int row = 0; row < tiles.height; ++row)
    for (int column = 0; column < tiles.width; ++column)
      if (asked.at<uchar>(row, column))
        at(row, column) = products(own, other, column * kDetailTilePx, row * kDetailTilePx);
  for (int row = 0; row < tiles.height; ++row)
    for (int column = 0; column < tiles.width; ++column) {
      if (!asked.at<uchar>(row, column)) continue;
      Sums around{};
      for (int y = std::max(0, row - 1); y <= std::min(tiles.height - 1, row + 1); ++y)
        for (int x = std::max(0, column - 1); x <= std::min(tiles.width - 1, column + 1); ++x)
          for (std::size_t s = 0; s < around.size(); ++s) around[s] += at(y, x)[s];
      const auto shift = std::max_element(around.begin(), around.end()) - around.begin();
      const int left = column * kDetailTilePx, top = row * kDetailTilePx;
      const float scale =
          std::sqrt(squares(own, left, top) * squares(other, left + static_cast<int>(shift) % kShifts,
                                                      top + static_cast<int>(shift) / kShifts));
      float& best = correlation.at<float>(row, column);
      best = std::max(best, at(row, column)[static_cast<std::size_t>(shift)] / std::max(scale, 1.0f));
    }
}

// How like a patch about `tile` the other view is somewhere around, but not where it ought to be: there a
// part of it may match, the shore, or a bottom that shows through. Both at half the size of the detail.
double likeness_elsewhere(const cv::Mat& own, const cv::Mat& other, const cv::Point& tile) {
  constexpr int kTile = kDetailTilePx / 2, kSurroundPx = 3 * kTile, kReachPx = 60, kPlaceErrorPx = 4;
  const cv::Rect bounds({0, 0}, own.size()),
      patch(tile.x * kTile - kTile, tile.y * kTile - kTile, kSurroundPx, kSurroundPx),
      where = cv::Rect(patch.x - kReachPx, patch.y - kReachPx, kSurroundPx + 2 * kReachPx,
                       kSurroundPx + 2 * kReachPx) &
              bounds;
  if ((patch & bounds) != patch) return -1;
  cv::Mat alike;
  cv::matchTemplate(other(where), own(patch), alike, cv::TM_CCOEFF_NORMED);
  const cv::Point here = patch.tl() - where.tl();
  alike(
      cv::Rect(here.x - kPlaceErrorPx, here.y - kPlaceErrorPx, 2 * kPlaceErrorPx + 1, 2 * kPlaceErrorPx + 1) &
      cv::Rect({0, 0}, alike.size()))
      .setTo(-1);
  double most = 0;
  cv::minMaxLoc(alike, nullptr, &most);
  return most;
}

}  // namespace

Detail detail_of(const cv::Mat& luma) {
  // Finer than 0.7 px is the sensor's noise and the codec's; coarser than 3 px are shade and colour. In steps
  // of a 32nd of a level.
  constexpr double kFinestPx = 0.7, kCoarsestPx = 3, kSteps = 32;
  // Noise has no more strength than this, however little there is; what is beyond twice its surroundings is
  // clipped.
  constexpr double kNoiseLevels = 0.5, kMost = 2, kScale = 50;
  cv::Mat level, fine, square, strength;
  luma.convertTo(level, CV_16SC1, kSteps);
  cv::subtract(blurred(level, kFinestPx), blurred(level, kCoarsestPx), fine, {}, CV_32FC1);
  Detail detail;
  cv::multiply(fine, fine, square, 1 / (kSteps * kSteps));
  detail.power = by_tile(square);
  if (detail.power.empty()) return detail;
  cv::blur(detail.power, strength, {3, 3}, {-1, -1}, cv::BORDER_REPLICATE);
  cv::sqrt(strength + kNoiseLevels * kNoiseLevels, strength);
  cv::resize(1 / strength, strength, luma.size(), 0, 0, cv::INTER_LINEAR);
  cv::multiply(fine, strength, fine, 1 / kSteps);
  cv::min(fine, kMost, fine);
  cv::max(fine, -kMost, fine);
  fine.convertTo(detail.even, CV_8UC1, kScale, kMiddle);
  return detail;
}

DetailComparison::DetailComparison(const Detail& own)
    : own_(own),
      correlation_(own.power.size(), CV_32FC1, cv::Scalar(-1)),
      looks_(cv::Mat::zeros(own.power.size(), CV_8UC1)) {
  own.even.convertTo(own_even_, CV_16SC1, 1, -kMiddle);
}

cv::Mat DetailComparison::open() const {
  constexpr double kLeastShare = 0.01;
  constexpr int kMostLooks = 3;  // what stands is seen to stand in the first of them
  if (correlation_.empty()) return {};
  cv::Mat tiles = (correlation_ <= kStands) & (looks_ < kMostLooks);
  if (cv::countNonZero(tiles) <= kLeastShare * static_cast<double>(tiles.total())) return {};
  return tiles;
}

void DetailComparison::add(LaidDetail other) {
  constexpr double kLeastGround = 0.15;
  if (other.even.empty() || correlation_.empty()) return;
  const cv::Mat before = correlation_.clone(), looks = other.seen == 255;
  match(own_even_, other.even, looks & (correlation_ <= kStands), correlation_);
  // Where the ground does not match either, it is the placing that errs, or something stands between.
  if (cv::countNonZero((correlation_ > kStands) & looks) < kLeastGround * cv::countNonZero(looks)) {
    correlation_ = before;
    return;
  }
  cv::add(looks_, 1, looks_, looks);
  telling_.push_back(std::move(other));
}

// What stands off the plane, a roof or a bush, is found elsewhere in the other view; what moves is found
// nowhere. Of each connected region of tiles that do not match a few are sought; a region of a few tiles may
// be anything. CV_8UC1, 255 at tiles of such regions.
cv::Mat DetailComparison::raised(const cv::Mat& unmatched) const {
  constexpr std::size_t kMostPatches = 6;
  constexpr int kLeastTiles = 10;
  constexpr double kFound = 0.45, kLeastShare = 0.35;  // of the patches; ripples reach 0.4 at their best
  cv::Mat labels, stats, centroids;
  const int count = cv::connectedComponentsWithStats(unmatched, labels, stats, centroids, 8, CV_32S);
  std::vector<std::vector<cv::Point>> tiles(static_cast<std::size_t>(count));
  for (int y = 1; y + 1 < labels.rows; ++y)
    for (int x = 1; x + 1 < labels.cols; ++x)
      if (unmatched.at<uchar>(y, x)) tiles[static_cast<std::size_t>(labels.at<int>(y, x))].push_back({x, y});
  const cv::Mat own = halved(own_.even);
  std::vector<cv::Mat> others;
  for (const LaidDetail& other : telling_) others.push_back(halved(other.even));
  cv::Mat found = cv::Mat::zeros(unmatched.size(), CV_8UC1);
  for (int label = 1; label < count; ++label) {
    const auto& of_region = tiles[static_cast<std::size_t>(label)];
    std::vector<std::pair<cv::Point, std::size_t>> sought;  // a tile, and the view that shows it
    const std::size_t step = of_region.size() / kMostPatches + 1;
    if (stats.at<int>(label, cv::CC_STAT_AREA) >= kLeastTiles)
      for (std::size_t i = step / 2; i < of_region.size(); i += step)
        for (std::size_t k = 0; k < others.size(); ++k) {
          if (!telling_[k].seen.at<uchar>(of_region[i])) continue;
          sought.emplace_back(of_region[i], k);
          break;
        }
    const double needed = kLeastShare * static_cast<double>(sought.size());
    std::size_t elsewhere = 0, left = sought.size();
    for (const auto& [tile, view] : sought) {
      if (static_cast<double>(elsewhere) >= needed || static_cast<double>(elsewhere + left) < needed) break;
      elsewhere += likeness_elsewhere(own, others[view], tile) > kFound;
      --left;
    }
    if (static_cast<double>(elsewhere) >= needed) found.setTo(255, labels == label);
  }
  return found;
}

Motion DetailComparison::motion(const cv::Mat& bgr) const {
  constexpr float kLandOdds = -5, kWaterOdds = 3, kFaint = 0.04f;
  constexpr float kLeastUsual = 4;  // squared levels: ground that has detail
  constexpr float kLeastNoise = 0.25f * 0.25f, kUsualNoise = 0.5f * 0.5f;  // squared levels
  const cv::Mat nothing = cv::Mat::zeros(bgr.size(), CV_32FC1);
  if (telling_.empty()) return {nothing, nothing, nothing};
  const cv::Mat seen = looks_ > 0;
  const cv::Mat unmatched = own_.power.mul(1 - cv::max(correlation_, 0));
  // What remains unlike where ground matches and has the least detail of its own: noise of sensor and codec.
  const float noise = std::max(kLeastNoise, power_of_ground(unmatched, correlation_, 0.1, kUsualNoise)),
              usual = std::max(1.0f, power_of_ground(own_.power, correlation_, 0.5, 0));
  cv::Mat best = correlation_.clone(), stands, moves, weight;
  const cv::Mat off_plane = raised(seen & (best < kMoves));
  best.setTo(1, off_plane);
  cv::Mat(best > kStands).convertTo(stands, CV_32FC1, 1 / 255.0);
  cv::Mat((best < kMoves) & seen).convertTo(moves, CV_32FC1, 1 / 255.0);
  seen.convertTo(weight, CV_32FC1, 1 / 255.0);
  // A bottom shows through calm water, but dimmed and blurred: faint detail tells nothing where it matches.
  const cv::Mat detailed = cv::min(cv::max((own_.power / usual - kFaint) / kFaint, 0), 1);
  stands = stands.mul(detailed);
  stands.setTo(1, off_plane);
  moves = moves.mul(cv::min(cv::max((unmatched / noise - 1.5f) / 1.5f, 0), 1));
  const TileGuide guide(bgr, best.size());
  const cv::Mat known = guide.spread(weight) + 0.02f, standing = guide.spread(stands) / known,
                moving = guide.spread(moves) / known;
  // Nearly all of land matches; of water a part may, where its bottom shows through.
  const cv::Mat land = cv::min(cv::max((standing - 0.65f) / 0.25f, 0), 1),
                water = cv::min(cv::max((moving - standing) / 0.3f, 0), 1);
  const cv::Mat looked = cv::min(known, 1),
                faint = usual > kLeastUsual ? guide.spread(weight.mul(1 - detailed)) : nothing;
  return {looked.mul(kLandOdds * land + kWaterOdds * water),
          looked.mul(cv::min(cv::max((faint - standing - 0.3f) / 0.3f, 0), 1)), looked};
}

}  // namespace lookdown::glare
