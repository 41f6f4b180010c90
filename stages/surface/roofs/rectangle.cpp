#include "stages/surface/roofs/rectangle.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::surface {
namespace {

constexpr double kAside = 0.75;  ///< nodes from a side at which both its sides are looked at
constexpr float kMostStep = 60;  ///< code values: a strong edge along part of a side is not one along it
constexpr float kMostOneNodeSays = 6;  ///< code values that one node says
constexpr double kGoesOn = 0.15;  ///< of a step: code values that the views must say on average for going on
                                  ///< beyond it
constexpr double kClear = 25;     ///< code values of a step that is clear: twice as much says a third more
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

/// Mean step of brightness across a line in one view, code values; < 0 where less than half of it is shown.
double step_in(const cv::Mat& view, cv::Point2d from, cv::Point2d to, cv::Point2d outward, double aside) {
  double sum = 0;
  int taken = 0;
  constexpr int kEnds = 3;  // of the samples at either end, where the next side shows
  for (int i = kEnds; i <= kSamples - kEnds; ++i) {
    const cv::Point2d at = from + (to - from) * (double(i) / kSamples);
    const double inside = shown_at(view, at - outward * aside),
                 outside = shown_at(view, at + outward * aside);
    if (inside < 0 || outside < 0) continue;
    sum += std::clamp(float(outside - inside), -kMostStep, kMostStep);
    ++taken;
  }
  return 2 * taken < kSamples ? -1 : std::abs(sum / taken);
}

/// Mean over the views that show the line; a strong step in one does not make up for none in others.
double step_along(const RoofLook& roof, cv::Point2d from, cv::Point2d to, cv::Point2d outward, double aside) {
  double sum = 0;
  int views = 0;
  for (const cv::Mat& view : roof.views) {
    const double step = step_in(view, from, to, outward, aside);
    if (step < 0) continue;
    sum += kClear * step / (step + kClear);
    ++views;
  }
  return views > 0 ? sum / views : 0;
}

struct Search {
  double reach, turn, step;  ///< nodes
};

/// A side moved outwards by so many nodes in its middle, turned, and the step of brightness there.
struct Moved {
  double middle = 0, turn = 0, step = -1;
};

/// Sharpest step at each distance.
std::vector<Moved> steps_by_distance(const RoofLook& roof, const Search& search, cv::Point2d from,
                                     cv::Point2d to, cv::Point2d outward) {
  std::vector<Moved> moves;
  for (double middle = -search.reach; middle <= search.reach; middle += search.step) {
    Moved& best = moves.emplace_back();
    for (double turn = -search.turn; turn <= search.turn; turn += search.step) {
      const double step = step_along(roof, from + outward * (middle - 0.5 * turn),
                                     to + outward * (middle + 0.5 * turn), outward, kAside);
      if (step > best.step) best = {middle, turn, step};
    }
  }
  return moves;
}

/// Mean of what the views say between two distances, along the midst of the side: its ends may lie beyond the
/// roof as yet.
double said_between(const cv::Mat& likeness, cv::Point2d from, cv::Point2d to, cv::Point2d outward,
                    double first, double last) {
  constexpr int kEnds = kSamples / 6;
  double sum = 0;
  int count = 0;
  for (double out = first + 0.5; out < last; out += 1)
    for (int i = kEnds; i <= kSamples - kEnds; ++i) {
      const cv::Point2d at = from + (to - from) * (double(i) / kSamples) + outward * out;
      const cv::Point node(int(std::lround(at.x)), int(std::lround(at.y)));
      if (!cv::Rect({}, likeness.size()).contains(node)) continue;
      sum += std::clamp(likeness.at<float>(node), -kMostOneNodeSays, kMostOneNodeSays);
      ++count;
    }
  return count > 0 ? sum / count : 0;
}

/// The innermost of the clear steps, unless the views say that the roof goes on from there to the next. What
/// is sharper farther out belongs to the ground around, where one view alone shows it.
Moved innermost(const RoofLook& roof, const std::vector<Moved>& moves, cv::Point2d from, cv::Point2d to,
                cv::Point2d outward) {
  constexpr double kAsClear = 0.62;  // of the clearest
  constexpr std::ptrdiff_t kNear = 3;
  const auto fainter = [](const Moved& a, const Moved& b) { return a.step < b.step; };
  const double clearest = std::max_element(moves.begin(), moves.end(), fainter)->step;
  const Moved* chosen = nullptr;
  for (auto at = moves.begin(); at != moves.end(); ++at) {
    const auto first = at - std::min(kNear, at - moves.begin()),
               last = at + std::min(kNear + 1, moves.end() - at);
    if (at->step < kAsClear * clearest || std::max_element(first, last, fainter) != at) continue;
    if (chosen != nullptr &&
        said_between(roof.likeness, from, to, outward, chosen->middle, at->middle) < kGoesOn * chosen->step)
      break;
    chosen = &*at;
  }
  return chosen != nullptr ? *chosen : Moved{};
}

void fit_side(const RoofLook& roof, const Search& search, Corners& corners, int side) {
  cv::Point2d &from = corners[std::size_t(side)], &to = corners[std::size_t((side + 1) % 4)];
  const cv::Point2d outward = outward_of(from, to, middle_of(corners));
  const std::vector<Moved> moves = steps_by_distance(roof, search, from, to, outward);
  constexpr double kFar = 6;  // nodes: nearer, the sharpest step is the side
  const Moved moved = search.reach > kFar
                          ? innermost(roof, moves, from, to, outward)
                          : *std::max_element(moves.begin(), moves.end(),
                                              [](const Moved& a, const Moved& b) { return a.step < b.step; });
  from += outward * (moved.middle - 0.5 * moved.turn);
  to += outward * (moved.middle + 0.5 * moved.turn);
}

}  // namespace

Corners box_round(const cv::Mat& mask) {
  std::vector<cv::Point> nodes;
  cv::findNonZero(mask, nodes);
  std::array<cv::Point2f, 4> corners;
  cv::minAreaRect(nodes).points(corners.data());
  return {corners[0], corners[1], corners[2], corners[3]};
}

Corners box_along_edges(const RoofLook& roof, const cv::Mat& mask) {
  constexpr int kBins = 90;  // degrees: the sides of a rectangle run two ways
  std::array<double, kBins> edges{};
  cv::Mat near;
  cv::dilate(mask, near, cv::getStructuringElement(cv::MORPH_ELLIPSE, {25, 25}));
  for (const cv::Mat& view : roof.views) {
    cv::Mat across, down, shown;
    cv::erode(view > 0, shown, cv::Mat(), {-1, -1}, 2);
    cv::Sobel(view, across, CV_32F, 1, 0);
    cv::Sobel(view, down, CV_32F, 0, 1);
    for (int row = 0; row < view.rows; ++row)
      for (int column = 0; column < view.cols; ++column) {
        if (!near.at<uchar>(row, column) || !shown.at<uchar>(row, column)) continue;
        const float x = across.at<float>(row, column), y = down.at<float>(row, column);
        const double degrees = std::atan2(y, x) * 180 / CV_PI + 360;
        edges[std::size_t(int(degrees) % kBins)] += std::hypot(x, y);
      }
  }
  std::size_t most = 0;
  double greatest = -1;
  for (std::size_t i = 0; i < kBins; ++i) {
    const double sum = edges[(i + kBins - 1) % kBins] + 2 * edges[i] + edges[(i + 1) % kBins];
    if (sum > greatest) greatest = sum, most = i;
  }
  const double turn = (double(most) + 0.5) * CV_PI / 180;
  const cv::Point2d along(std::cos(turn), std::sin(turn)), across(-along.y, along.x);
  std::vector<cv::Point> nodes;
  cv::findNonZero(mask, nodes);
  double first = 1e30, last = -1e30, top = 1e30, bottom = -1e30;
  for (const cv::Point2d node : nodes) {
    first = std::min(first, along.dot(node)), last = std::max(last, along.dot(node));
    top = std::min(top, across.dot(node)), bottom = std::max(bottom, across.dot(node));
  }
  return {along * first + across * top, along * last + across * top, along * last + across * bottom,
          along * first + across * bottom};
}

Corners fitted(const RoofLook& roof, Corners corners, double reach) {
  const std::array<Search, 4> rounds{Search{reach, 2, 1}, {reach, 3, 1}, {3, 2, 0.5}, {1, 1, 0.125}};
  for (const Search& search : rounds)
    for (int side = 0; side < 4; ++side) fit_side(roof, search, corners, side);
  return corners;
}

SideSteps steps_at(const RoofLook& roof, const Corners& corners) {
  SideSteps steps{1e30, 0};
  for (std::size_t side = 0; side < 4; ++side) {
    const cv::Point2d from = corners[side], to = corners[(side + 1) % 4];
    const double step = step_along(roof, from, to, outward_of(from, to, middle_of(corners)), 2 * kAside);
    steps.faintest = std::min(steps.faintest, step);
    steps.mean += step / 4;
  }
  return steps;
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
