#include "stages/glare/across/seen_heights.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::glare {
namespace {

constexpr int kMeanGrey = 128;
constexpr int kMostHeights = 120;
constexpr int kWindowPx = 11;    // of the copy: sides of what is compared
constexpr float kAlike = 0.55f;  // chance comes to 0.4

cv::Mat about_zero(const cv::Mat& even) {
  cv::Mat out;
  even.convertTo(out, CV_32FC1, 1, -kMeanGrey);
  return out;
}

cv::Mat window_mean(const cv::Mat& plane) {
  cv::Mat out;
  cv::boxFilter(plane, out, CV_32FC1, {kWindowPx, kWindowPx}, {-1, -1}, true, cv::BORDER_REFLECT);
  return out;
}

// Heights at which the view with the longest base moves by a pixel of the copy from one to the next.
std::vector<float> steps_of(const HeightRange& range, const PlacedCamera& own,
                            const std::vector<PlacedView>& others, cv::Size size) {
  double base = 0;
  for (const PlacedView& other : others)
    base = std::max(base, (other.place->pose.centre - own.pose.centre).norm());
  const double nearest = own.pose.centre.z() - range.highest,
               focal_px = own.camera.fx_px * size.width / own.camera.width_px;
  const double parallax_px = focal_px * base * (1 / nearest - 1 / (own.pose.centre.z() - range.lowest));
  const int count = std::clamp(static_cast<int>(std::ceil(parallax_px)) + 1, 2, kMostHeights);
  // Even in parallax, not in height.
  const double far = 1 / (own.pose.centre.z() - range.lowest), near = 1 / nearest;
  std::vector<float> heights;
  heights.reserve(static_cast<std::size_t>(count));
  for (int i = 0; i < count; ++i)
    heights.push_back(static_cast<float>(own.pose.centre.z() - 1 / (far + (near - far) * i / (count - 1))));
  return heights;
}

struct Likeness {
  cv::Mat sum, views;  // CV_32FC1, of the copy
};

// Adds the correlation with one view laid over the own frame at `height`.
void add_view(const cv::Mat& own, const cv::Mat& own_power, const SightGrid& grid, const PlacedView& other,
              float height, Likeness& likeness) {
  const cv::Mat heights(1, 1, CV_32FC1, cv::Scalar(height));
  const LaidDetail laid = lay_detail(other.frame->coarse, *other.place, grid, heights);
  if (laid.even.empty()) return;
  const cv::Mat even = about_zero(laid.even),
                scale = cv::max(own_power.mul(window_mean(even.mul(even))), 1.0f);
  cv::Mat root, seen;
  cv::sqrt(scale, root);
  cv::resize(laid.seen, seen, own.size(), 0, 0, cv::INTER_NEAREST);
  cv::add(likeness.sum, window_mean(own.mul(even)) / root, likeness.sum, seen);
  cv::add(likeness.views, 1, likeness.views, seen);
}

// The first views, and of the others those that see what no other has: at a middle height.
std::vector<PlacedView> telling(const SearchedFrame& own, const PlacedCamera& own_place,
                                const std::vector<PlacedView>& others, const HeightRange& range) {
  constexpr std::size_t kFirst = 2, kMost = 4;
  constexpr double kLeastNew = 0.04;
  const cv::Mat middle(1, 1, CV_32FC1, cv::Scalar((range.lowest + range.highest) / 2));
  cv::Mat seen = cv::Mat::zeros(own.detail.power.size(), CV_8UC1);
  const SightGrid grid(own_place, own.detail.even.size(), kDetailTilePx);
  std::vector<PlacedView> chosen;
  for (const PlacedView& other : others) {
    const cv::Mat nothing_wanted = cv::Mat::zeros(seen.size(), CV_8UC1),
                  sees = lay_detail(other.frame->detail, *other.place, grid, middle, nothing_wanted).seen;
    if (sees.empty()) continue;
    const double more = cv::countNonZero(sees & ~seen) / static_cast<double>(seen.total());
    if (chosen.size() >= kMost || (chosen.size() >= kFirst && more < kLeastNew)) continue;
    chosen.push_back(other);
    seen |= sees;
  }
  return chosen;
}

cv::Mat spread(const cv::Mat& plane, double sigma) {
  cv::Mat out;
  cv::GaussianBlur(plane, out, {0, 0}, sigma, sigma, cv::BORDER_REFLECT);
  return out;
}

// Between places that are sure: the nearest tell most, from as far as need be.
cv::Mat filled(const cv::Mat& heights, const cv::Mat& sureness) {
  const cv::Mat weighted = heights.mul(sureness);
  cv::Mat sum = cv::Mat::zeros(heights.size(), CV_32FC1), weights = sum + 1e-12f;
  float trust = 1;
  for (const double sigma : {1.0, 3.0, 9.0, 27.0}) {
    sum += trust * spread(weighted, sigma);
    weights += trust * spread(sureness, sigma);
    trust *= 0.02f;
  }
  return sum / weights;
}

}  // namespace

HeightRange heights_to_look_at(const FlightPlacement& placement, const PlacedCamera& place) {
  // What stands on the ground goes beyond what its spread tells, and a dike or a pit is little of it.
  constexpr double kSpreads = 3.5, kAlways = 0.04, kMost = 0.45;
  const double flying_height = place.pose.centre.z();
  if (!(placement.relief_spread > 0) || !(flying_height > 0)) return {};
  const double reach =
      std::min(kMost * flying_height, kSpreads * placement.relief_spread + kAlways * flying_height);
  return {-reach, reach};
}

cv::Mat seen_heights(const SearchedFrame& own, const PlacedCamera& own_place,
                     const std::vector<PlacedView>& all, const HeightRange& range) {
  if (range.flat() || all.empty() || own.coarse.power.empty() || own.detail.power.empty()) return {};
  const std::vector<PlacedView> others = telling(own, own_place, all, range);
  const cv::Mat even = about_zero(own.coarse.even), power = window_mean(even.mul(even));
  const cv::Size size = even.size(), tiles = own.detail.power.size();
  const SightGrid grid(own_place, size);
  const std::vector<float> steps = steps_of(range, own_place, others, size);
  cv::Mat best(tiles, CV_32FC1, cv::Scalar(0)), heights(tiles, CV_32FC1, cv::Scalar(0));
  for (const float height : steps) {
    Likeness likeness{cv::Mat::zeros(size, CV_32FC1), cv::Mat::zeros(size, CV_32FC1)};
    for (const PlacedView& other : others) add_view(even, power, grid, other, height, likeness);
    cv::Mat alike;
    cv::resize(cv::Mat(likeness.sum / cv::max(likeness.views, 1)), alike, tiles, 0, 0, cv::INTER_AREA);
    const cv::Mat better = alike > best;
    alike.copyTo(best, better);
    heights.setTo(height, better);
  }
  cv::Mat sureness = cv::max(best - kAlike, 0);
  if (cv::countNonZero(sureness) == 0) return {};
  // A lone place that is alike by chance does not hold against those around.
  cv::Mat level;
  cv::medianBlur(filled(heights, sureness), level, 5);
  const cv::Mat apart = cv::abs(heights - level);
  sureness.setTo(0, apart > 0.15 * (range.highest - range.lowest));
  return filled(heights, sureness);
}

}  // namespace lookdown::glare
