#include "stages/mosaic/roofs/roof_outline.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <utility>

namespace lookdown::mosaic {
namespace {

/// First and last place, in steps of one cell from `start`, between which at least half of the line across
/// the box is in the mask.
std::pair<double, double> half_covered(const cv::Mat& mask, cv::Point2d start, cv::Point2d along,
                                       double length, cv::Point2d across, double width) {
  double first = length, last = 0;
  for (double at = 0; at <= length; at += 0.5) {
    int inside = 0, all = 0;
    for (double side = 0.1 * width; side <= 0.9 * width; side += 1) {
      const cv::Point2d place = start + along * at + across * side;
      const cv::Point cell(static_cast<int>(std::lround(place.x)), static_cast<int>(std::lround(place.y)));
      ++all;
      if (cv::Rect({}, mask.size()).contains(cell) && mask.at<uchar>(cell)) ++inside;
    }
    if (2 * inside < all) continue;
    first = std::min(first, at);
    last = std::max(last, at);
  }
  return {first, last};
}

double mean_along(const cv::Mat& picture, cv::Point2d from, cv::Point2d to, cv::Point2d shift) {
  constexpr int kSamples = 60;
  double sum = 0;
  int taken = 0;
  for (int i = 3; i <= kSamples - 3; ++i) {
    const cv::Point2d at = from + (to - from) * (static_cast<double>(i) / kSamples) + shift;
    const int x = static_cast<int>(std::floor(at.x)), y = static_cast<int>(std::floor(at.y));
    if (x < 0 || y < 0 || x + 1 >= picture.cols || y + 1 >= picture.rows) continue;
    const double right = at.x - x, down = at.y - y;
    const auto* above = picture.ptr<float>(y);
    const auto* below = picture.ptr<float>(y + 1);
    sum += (above[x] * (1 - right) + above[x + 1] * right) * (1 - down) +
           (below[x] * (1 - right) + below[x + 1] * right) * down;
    ++taken;
  }
  return taken > 0 ? sum / taken : 0;
}

/// Unit vector across the side from `from` to `to`, away from the middle of the outline.
cv::Point2d outward_of(cv::Point2d from, cv::Point2d to, cv::Point2d middle) {
  const cv::Point2d along = (to - from) / std::max(1e-9, cv::norm(to - from));
  const cv::Point2d outward(along.y, -along.x);
  return outward.dot(0.5 * (from + to) - middle) < 0 ? -outward : outward;
}

}  // namespace

Corners trimmed_box(const cv::Mat& mask) {
  std::vector<cv::Point> cells;
  cv::findNonZero(mask, cells);
  std::array<cv::Point2f, 4> corners;
  cv::minAreaRect(cells).points(corners.data());
  const cv::Point2d origin = corners[0];
  const double length = cv::norm(corners[1] - corners[0]), width = cv::norm(corners[3] - corners[0]);
  const cv::Point2d along = cv::Point2d(corners[1] - corners[0]) / length,
                    across = cv::Point2d(corners[3] - corners[0]) / width;
  const auto [first, last] = half_covered(mask, origin, along, length, across, width);
  const auto [top, bottom] =
      half_covered(mask, origin + along * first, across, width, along, std::max(1.0, last - first));
  return {origin + along * first + across * top, origin + along * last + across * top,
          origin + along * last + across * bottom, origin + along * first + across * bottom};
}

Corners fitted_to_edges(const cv::Mat& mean, Corners corners, double inward) {
  constexpr double kOutward = 2.5, kTurn = 1.5;  // cells
  struct Round {
    double inward, outward, turn, step;
  };
  const std::array<Round, 3> rounds{Round{inward, kOutward, std::max(kTurn, 0.5 * inward), 0.5},
                                    {kOutward, kOutward, kTurn, 0.5},
                                    {1, 1, kTurn, 0.125}};
  for (const Round& reach : rounds)
    for (int side = 0; side < 4; ++side) {
      cv::Point2d& from = corners[side];
      cv::Point2d& to = corners[(side + 1) % 4];
      const cv::Point2d middle = 0.25 * (corners[0] + corners[1] + corners[2] + corners[3]);
      const cv::Point2d along = (to - from) / std::max(1e-9, cv::norm(to - from));
      cv::Point2d outward(along.y, -along.x);
      if (outward.dot(0.5 * (from + to) - middle) < 0) outward = -outward;
      double best = -1, best_start = 0, best_end = 0;
      for (double start = -reach.inward; start <= reach.outward; start += reach.step)
        for (double end = std::max(-reach.inward, start - reach.turn);
             end <= std::min(reach.outward, start + reach.turn); end += reach.step) {
          const cv::Point2d a = from + outward * start, b = to + outward * end;
          const double inside = mean_along(mean, a, b, outward * -0.75),
                       outside = mean_along(mean, a, b, outward * 0.75);
          if (std::abs(outside - inside) > best)
            best = std::abs(outside - inside), best_start = start, best_end = end;
        }
      from += outward * best_start;
      to += outward * best_end;
    }
  return corners;
}

bool has_clear_sides(const cv::Mat& mean, const Corners& corners) {
  constexpr double kStep = 6;  // code values
  const cv::Point2d middle = 0.25 * (corners[0] + corners[1] + corners[2] + corners[3]);
  for (int side = 0; side < 4; ++side) {
    const cv::Point2d from = corners[side], to = corners[(side + 1) % 4],
                      outward = outward_of(from, to, middle);
    if (std::abs(mean_along(mean, from, to, outward * 1.5) - mean_along(mean, from, to, outward * -1.5)) <
        kStep)
      return false;
  }
  return true;
}

}  // namespace lookdown::mosaic
