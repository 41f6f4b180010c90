#include "stages/mosaic/roof_outline.h"

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

/// Adds to `steps` (2 reach_px + 1 places, from the inside out) how sharp a step of brightness the frame
/// shows along the part of a side from `from` to `to`. Nothing where the frame does not see all of the part.
void add_steps(const FrameView& raised, FrameStore& store, cv::Point2d from, cv::Point2d to,
               cv::Point2d outward, int reach_px, std::vector<double>& steps) {
  constexpr int kSamples = 64;
  const int rows = 2 * (reach_px + 2) + 1;
  cv::Mat map(rows, kSamples, CV_32FC2);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < kSamples; ++column) {
      const cv::Point2d place =
          from + (to - from) * ((column + 0.5) / kSamples) + outward * (row - reach_px - 2.0);
      const Sighting seen = raised.sight(place.x, place.y);
      if (!seen.usable) return;
      map.at<cv::Vec2f>(row, column) = {static_cast<float>(seen.x_px), static_cast<float>(seen.y_px)};
    }
  cv::Mat strip, grey, profile;
  cv::remap(*store.bgr(raised.frame_index, 1), strip, map, cv::noArray(), cv::INTER_LINEAR,
            cv::BORDER_REPLICATE);
  cv::cvtColor(strip, grey, cv::COLOR_BGR2GRAY);
  cv::reduce(grey, profile, 1, cv::REDUCE_AVG, CV_32F);
  for (int place = 0; place < 2 * reach_px + 1; ++place)
    steps[place] += std::abs(profile.at<float>(place + 3) + profile.at<float>(place + 4) -
                             profile.at<float>(place) - profile.at<float>(place + 1));
}

/// How far outward of where it was put a part of a side lies, canvas pixels.
double found_offset(const std::vector<FrameView>& raised, FrameStore& store, cv::Point2d from, cv::Point2d to,
                    cv::Point2d outward, int reach_px) {
  std::vector<double> steps(2 * reach_px + 1, 0.0);
  for (const FrameView& view : raised) {
    try {
      add_steps(view, store, from, to, outward, reach_px, steps);
    } catch (const FrameFault&) {
      continue;  // it shows again, with its reason, when its tiles are rendered
    }
  }
  return static_cast<double>(std::max_element(steps.begin(), steps.end()) - steps.begin()) - reach_px;
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

Corners fitted_to_edges(const cv::Mat& mean, Corners corners) {
  for (int round = 0; round < 2; ++round)
    for (int side = 0; side < 4; ++side) {
      cv::Point2d& from = corners[side];
      cv::Point2d& to = corners[(side + 1) % 4];
      const cv::Point2d middle = 0.25 * (corners[0] + corners[1] + corners[2] + corners[3]);
      const cv::Point2d along = (to - from) / std::max(1e-9, cv::norm(to - from));
      cv::Point2d outward(along.y, -along.x);
      if (outward.dot(0.5 * (from + to) - middle) < 0) outward = -outward;
      double best = -1, best_start = 0, best_end = 0;
      const double reach = round == 0 ? 2.5 : 1, step = round == 0 ? 0.5 : 0.125;
      for (double start = -reach; start <= reach; start += step)
        for (double end = std::max(-reach, start - 1.5); end <= std::min(reach, start + 1.5); end += step) {
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

RaisedArea fitted_at_full_size(const RaisedArea& area, const std::vector<FrameView>& views, FrameStore& store,
                               int reach_px) {
  std::vector<FrameView> raised;
  for (const FrameView& view : views)
    if (view.height_px > area.height_px) raised.push_back(lifted(view, area.height_px));
  RaisedArea fitted = area;
  cv::Point2d middle(0, 0);
  for (const cv::Point2d& corner : area.outline) middle += corner / static_cast<double>(area.outline.size());
  const std::size_t sides = area.outline.size();
  for (std::size_t side = 0; side < sides; ++side) {
    const cv::Point2d from = area.outline[side], to = area.outline[(side + 1) % sides],
                      centre = 0.5 * (from + to);
    const cv::Point2d outward = outward_of(from, to, middle);
    // Each half on its own, so that a slightly turned side is turned back.
    const double first = found_offset(raised, store, from, centre, outward, reach_px),
                 second = found_offset(raised, store, centre, to, outward, reach_px);
    fitted.outline[side] += outward * (1.5 * first - 0.5 * second);
    fitted.outline[(side + 1) % sides] += outward * (1.5 * second - 0.5 * first);
  }
  return fitted;
}

}  // namespace lookdown::mosaic
