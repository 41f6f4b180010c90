#include "stages/surface/roofs/rectangle.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::surface {
namespace {

constexpr double kAside = 0.75;     ///< nodes from a side at which both its sides are looked at
constexpr float kMostStep = 40;     ///< code values: a strong edge along part of a side is not one along it
constexpr float kMostLikeness = 6;  ///< code values that one node says
constexpr double kLikenessCounts = 2;  ///< of a node passed over, against the step of brightness
constexpr int kSamples = 80;

cv::Point2d middle_of(const Corners& c) {
  return 0.25 * (c[0] + c[1] + c[2] + c[3]);
}

/// Unit vector across the side from `from` to `to`, away from the middle.
cv::Point2d outward_of(cv::Point2d from, cv::Point2d to, cv::Point2d middle) {
  const cv::Point2d along = (to - from) / std::max(1e-9, cv::norm(to - from));
  const cv::Point2d outward(along.y, -along.x);
  return outward.dot(0.5 * (from + to) - middle) < 0 ? -outward : outward;
}

/// Bilinear; < 0 where nothing is shown.
double shown_at(const cv::Mat& look, cv::Point2d at) {
  const int x = int(std::floor(at.x)), y = int(std::floor(at.y));
  if (x < 0 || y < 0 || x + 1 >= look.cols || y + 1 >= look.rows) return -1;
  const uchar *above = look.ptr(y) + x, *below = look.ptr(y + 1) + x;
  if (above[0] == 0 || above[1] == 0 || below[0] == 0 || below[1] == 0) return -1;
  const double right = at.x - x, down = at.y - y;
  return (above[0] * (1 - right) + above[1] * right) * (1 - down) +
         (below[0] * (1 - right) + below[1] * right) * down;
}

/// Mean step of brightness across a line, code values; 0 where less than half of it is shown.
double step_along(const cv::Mat& look, cv::Point2d from, cv::Point2d to, cv::Point2d outward, double aside) {
  double sum = 0;
  int taken = 0;
  constexpr int kEnds = 4;  // of the samples at either end, where the next side shows
  for (int i = kEnds; i <= kSamples - kEnds; ++i) {
    const cv::Point2d at = from + (to - from) * (double(i) / kSamples);
    const double inside = shown_at(look, at - outward * aside),
                 outside = shown_at(look, at + outward * aside);
    if (inside < 0 || outside < 0) continue;
    sum += std::clamp(float(outside - inside), -kMostStep, kMostStep);
    ++taken;
  }
  return 2 * taken < kSamples ? 0 : std::abs(sum / taken);
}

/// Mean of what the views say along a line.
double said_along(const cv::Mat& likeness, cv::Point2d from, cv::Point2d to) {
  double sum = 0;
  for (int i = 0; i <= kSamples; ++i) {
    const cv::Point2d at = from + (to - from) * (double(i) / kSamples);
    const cv::Point node(int(std::lround(at.x)), int(std::lround(at.y)));
    if (cv::Rect({}, likeness.size()).contains(node))
      sum += std::clamp(likeness.at<float>(node), -kMostLikeness, kMostLikeness);
  }
  return sum / (kSamples + 1);
}

struct Search {
  double reach, turn, step;  ///< nodes
};

/// What the views say of the strips passed over when the side moves outwards, by whole nodes from -reach on;
/// relative to where it lies.
std::vector<double> said_on_the_way(const cv::Mat& likeness, cv::Point2d from, cv::Point2d to,
                                    cv::Point2d outward, int reach) {
  std::vector<double> sums(std::size_t(2 * reach + 1), 0);
  for (int k = 1; k <= reach; ++k) {
    const auto beyond = std::size_t(reach + k), within = std::size_t(reach - k);
    const cv::Point2d out = outward * (k - 0.5);
    sums[beyond] = sums[beyond - 1] + said_along(likeness, from + out, to + out);
    sums[within] = sums[within + 1] - said_along(likeness, from - out, to - out);
  }
  return sums;
}

void fit_side(const RoofLook& roof, const Search& search, Corners& corners, int side) {
  cv::Point2d &from = corners[std::size_t(side)], &to = corners[std::size_t((side + 1) % 4)];
  const cv::Point2d outward = outward_of(from, to, middle_of(corners));
  const int reach = int(std::ceil(search.reach));
  const std::vector<double> said = said_on_the_way(roof.likeness, from, to, outward, reach);
  double best = -1e30, best_start = 0, best_end = 0;
  for (double start = -search.reach; start <= search.reach; start += search.step)
    for (double end = std::max(-search.reach, start - search.turn);
         end <= std::min(search.reach, start + search.turn); end += search.step) {
      const double score =
          step_along(roof.look, from + outward * start, to + outward * end, outward, kAside) +
          kLikenessCounts * said[std::size_t(std::lround(0.5 * (start + end)) + reach)];
      if (score > best) best = score, best_start = start, best_end = end;
    }
  from += outward * best_start;
  to += outward * best_end;
}

}  // namespace

Corners box_round(const cv::Mat& mask) {
  std::vector<cv::Point> nodes;
  cv::findNonZero(mask, nodes);
  std::array<cv::Point2f, 4> corners;
  cv::minAreaRect(nodes).points(corners.data());
  return {corners[0], corners[1], corners[2], corners[3]};
}

Corners fitted(const RoofLook& roof, Corners corners, double reach) {
  const std::array<Search, 4> rounds{Search{reach, 2, 1}, {reach, 3, 1}, {3, 2, 0.5}, {1, 1, 0.125}};
  for (const Search& search : rounds)
    for (int side = 0; side < 4; ++side) fit_side(roof, search, corners, side);
  return corners;
}

double faintest_side(const cv::Mat& look, const Corners& corners) {
  double least = 1e30;
  for (std::size_t side = 0; side < 4; ++side) {
    const cv::Point2d from = corners[side], to = corners[(side + 1) % 4];
    least = std::min(least, step_along(look, from, to, outward_of(from, to, middle_of(corners)), 2 * kAside));
  }
  return least;
}

cv::Mat filled(const Corners& corners, cv::Size size) {
  cv::Mat mask(size, CV_8UC1, cv::Scalar(0));
  const cv::Point2d middle = middle_of(corners);
  for (int row = 0; row < size.height; ++row)
    for (int column = 0; column < size.width; ++column) {
      bool inside = true;
      for (std::size_t side = 0; side < 4 && inside; ++side) {
        const cv::Point2d from = corners[side];
        inside = outward_of(from, corners[(side + 1) % 4], middle).dot(cv::Point2d(column, row) - from) <= 0;
      }
      if (inside) mask.at<uchar>(row, column) = 255;
    }
  return mask;
}

}  // namespace lookdown::surface
