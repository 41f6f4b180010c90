#include "stages/mosaic/masks/standing_things.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <opencv2/imgproc.hpp>
#include <optional>

namespace lookdown::mosaic {
namespace {

constexpr double kGreatestHeightShare = 0.35;  // of the flying height
constexpr double kLeastMove = 2;               // cells: less does not tell standing from lying
constexpr double kShowsOther = 12;     // code values: below it the other frame shows the same in place
constexpr double kSeenAgain = 0.4;     // of what the frames differ by in place
constexpr double kLeastCovered = 0.8;  // of a piece by the other frame
constexpr int kFewestCells = 6;        // fewer are found by chance
constexpr int kMostHeights = 48;

cv::Point2d nadir_of(const FrameView& view, double cell_px) {
  return {(view.nadir_x_px + 0.5) / cell_px - 0.5, (view.nadir_y_px + 0.5) / cell_px - 0.5};
}

/// How far from `cell` frame `b` shows what frame `a` shows there, if it is `height_px` over the plane;
/// cells.
cv::Point2d move_of(const FrameView& a, const FrameView& b, double cell_px, const cv::Point2d& cell,
                    double height_px) {
  const cv::Point2d below_a = nadir_of(a, cell_px), below_b = nadir_of(b, cell_px);
  const cv::Point2d foot = below_a + (cell - below_a) * (1 - height_px / a.height_px);
  return below_b + (foot - below_b) * (1 / (1 - height_px / b.height_px)) - cell;
}

/// Mean difference in code values between what `a` shows in the cells and what `b` shows so far beside them;
/// empty where `b` sees too little of that.
std::optional<double> mean_difference(const SurveyFrame& a, const SurveyFrame& b,
                                      const std::vector<cv::Point>& cells, const cv::Point& move) {
  double sum = 0;
  int seen = 0;
  for (const cv::Point& cell : cells) {
    const cv::Point there = cell + move;
    if (!b.holds(there.x, there.y)) continue;
    const auto& p = a.bgr.at<cv::Vec3b>(cell - a.box.tl());
    const auto& q = b.bgr.at<cv::Vec3b>(there - b.box.tl());
    sum += std::max({std::abs(p[0] - q[0]), std::abs(p[1] - q[1]), std::abs(p[2] - q[2])});
    ++seen;
  }
  if (seen < kLeastCovered * static_cast<double>(cells.size())) return std::nullopt;
  return sum / seen;
}

/// A frame that shows something else where the piece is.
struct Contradiction {
  std::size_t view = 0;
  double apart = 0;  ///< code values
};

std::vector<Contradiction> contradicting_views(const Survey& survey, std::size_t view,
                                               const std::vector<cv::Point>& cells) {
  std::vector<Contradiction> list;
  for (std::size_t other = 0; other < survey.frames.size(); ++other) {
    if (other == view || survey.frames[other].bgr.empty()) continue;
    const auto apart = mean_difference(survey.frames[view], survey.frames[other], cells, {0, 0});
    if (apart && *apart > kShowsOther) list.push_back({other, *apart});
  }
  return list;
}

bool stands_off_plane(const Survey& survey, const std::vector<FrameView>& views, std::size_t view,
                      const std::vector<cv::Point>& cells) {
  cv::Point2d middle;
  for (const cv::Point& cell : cells) middle += cv::Point2d(cell) * (1.0 / static_cast<double>(cells.size()));
  const std::vector<Contradiction> others = contradicting_views(survey, view, cells);
  double highest_px = kGreatestHeightShare * views[view].height_px, farthest = 0;
  for (const Contradiction& other : others)
    highest_px = std::min(highest_px, kGreatestHeightShare * views[other.view].height_px);
  const auto move = [&](const Contradiction& other, double height_px) {
    return move_of(views[view], views[other.view], survey.cell_px, middle, height_px);
  };
  for (const Contradiction& other : others) farthest = std::max(farthest, cv::norm(move(other, highest_px)));
  const int heights = std::min(kMostHeights, static_cast<int>(std::ceil(farthest)));
  for (int step = 1; step <= heights; ++step) {
    int asked = 0, again = 0;
    for (const Contradiction& other : others) {
      const cv::Point2d way = move(other, highest_px * step / heights);
      if (cv::norm(way) < kLeastMove) continue;
      const auto apart = mean_difference(survey.frames[view], survey.frames[other.view], cells,
                                         {cvRound(way.x), cvRound(way.y)});
      if (!apart) continue;
      ++asked;
      again += *apart < kSeenAgain * other.apart;
    }
    if (again > 0 && 2 * again >= asked) return true;
  }
  return false;
}

}  // namespace

void spare_standing_things(const Survey& survey, const std::vector<FrameView>& views, std::size_t view,
                           cv::Mat& alone) {
  if (!(views[view].height_px > 0)) return;
  cv::Mat labels, facts, centres;
  const int count = cv::connectedComponentsWithStats(alone, labels, facts, centres, 8);
  for (int label = 1; label < count; ++label) {
    if (facts.at<int>(label, cv::CC_STAT_AREA) < kFewestCells) continue;
    const cv::Mat piece = labels == label;
    std::vector<cv::Point> cells;
    cv::findNonZero(piece, cells);
    for (cv::Point& cell : cells) cell += survey.frames[view].box.tl();
    if (stands_off_plane(survey, views, view, cells)) alone.setTo(0, piece);
  }
}

}  // namespace lookdown::mosaic
