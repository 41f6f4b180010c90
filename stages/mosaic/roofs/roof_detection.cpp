#include "stages/mosaic/roofs/roof_detection.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/robust_statistics.h"
#include "stages/mosaic/roofs/plane_sweep.h"
#include "stages/mosaic/roofs/roof_outline.h"

namespace lookdown::mosaic {
namespace {

constexpr double kLowest = 0.03, kHighest = 0.4;  // of the cameras' height
constexpr double kStepCells = 2;                  // of height; frames half a height apart see it as one cell
constexpr double kDisagrees = 8;                  // code values of scatter: more than noise and colour leave
constexpr double kAgreesShare = 0.6;  // scatter at the right height over that on the ground, at most
constexpr int kLeastCells = 150;      // of area

struct Candidate {
  cv::Mat cells;  ///< CV_8UC1, of the region
  double height_px;
  cv::Rect region;
};

/// The commonest of the heights tried: what a flat roof gives, while walls and hidden ground give all sorts.
double usual_height(const cv::Mat& height, const cv::Mat& cells) {
  std::map<float, int> times;
  for (int row = 0; row < cells.rows; ++row)
    for (int column = 0; column < cells.cols; ++column)
      if (cells.at<uchar>(row, column)) ++times[height.at<float>(row, column)];
  const auto most = std::max_element(times.begin(), times.end(),
                                     [](const auto& a, const auto& b) { return a.second < b.second; });
  return most == times.end() ? 0 : most->first;
}

/// Gaps closed, frayed edges cut, and only the largest connected piece kept.
cv::Mat largest_piece(cv::Mat cells) {
  cv::morphologyEx(cells, cells, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_RECT, {7, 7}));
  cv::morphologyEx(cells, cells, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_RECT, {7, 7}));
  cv::Mat labels, facts, centres;
  const int count = cv::connectedComponentsWithStats(cells, labels, facts, centres, 4);
  int largest = 0;
  for (int label = 1; label < count; ++label)
    if (largest == 0 || facts.at<int>(label, cv::CC_STAT_AREA) > facts.at<int>(largest, cv::CC_STAT_AREA))
      largest = label;
  return largest == 0 ? cv::Mat(cells.size(), CV_8UC1, cv::Scalar(0)) : cv::Mat(labels == largest);
}

/// Where the frames disagree on the ground, in connected regions with some room round each; largest first.
std::vector<cv::Rect> regions_apart(const Scatter& ground) {
  cv::Mat apart = ground.deviation > kDisagrees, labels, facts, centres;
  cv::morphologyEx(apart, apart, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_RECT, {9, 9}));
  const int count = cv::connectedComponentsWithStats(apart, labels, facts, centres, 8);
  constexpr int kRoom = 12;
  std::vector<cv::Rect> regions;
  for (int label = 1; label < count; ++label) {
    if (facts.at<int>(label, cv::CC_STAT_AREA) < kLeastCells) continue;
    regions.push_back(cv::Rect(facts.at<int>(label, cv::CC_STAT_LEFT) - kRoom,
                               facts.at<int>(label, cv::CC_STAT_TOP) - kRoom,
                               facts.at<int>(label, cv::CC_STAT_WIDTH) + 2 * kRoom,
                               facts.at<int>(label, cv::CC_STAT_HEIGHT) + 2 * kRoom) &
                      cv::Rect({}, apart.size()));
  }
  std::stable_sort(regions.begin(), regions.end(),
                   [](const cv::Rect& a, const cv::Rect& b) { return a.area() > b.area(); });
  return regions;
}

/// The largest piece of the region on which the frames agree far better at one height, roughly; no cells when
/// there is none.
Candidate candidate_in(const cv::Rect& region, const HeightSweep& sweep, const Survey& survey,
                       const Scatter& ground) {
  const cv::Mat on_ground = ground.deviation(region);
  cv::Mat best = on_ground.clone(), height(best.size(), CV_32FC1, cv::Scalar(0));
  const double step = kStepCells * survey.cell_px, highest = kHighest * sweep.usual_height_px();
  for (double h = kLowest * sweep.usual_height_px(); h <= highest; h += step) {
    const Scatter raised = sweep.at(h, region);
    const cv::Mat better = (raised.deviation >= 0) & (raised.deviation < best);
    raised.deviation.copyTo(best, better);
    height.setTo(h, better);
  }
  const cv::Mat strong = (on_ground > kDisagrees) & (best < kAgreesShare * on_ground) & (height > 0);
  const double usual = usual_height(height, strong);
  const cv::Mat level = strong & (cv::abs(height - usual) <= 1.01 * step);
  return {largest_piece(level), usual, region};
}

/// The height at which the frames agree best over the cells.
double refined_height(const HeightSweep& sweep, const Survey& survey, const Candidate& candidate) {
  double best = 1e30, best_height = candidate.height_px;
  for (double off = -2 * kStepCells; off <= 2 * kStepCells; off += 0.5) {
    const double height = candidate.height_px + off * survey.cell_px;
    if (height <= 0) continue;
    const Scatter scatter = sweep.at(height, candidate.region);
    const double mean = cv::mean(scatter.deviation, candidate.cells & (scatter.deviation >= 0))[0];
    if (mean < best) best = mean, best_height = height;
  }
  return best_height;
}

/// True for what two overlapping regions both found.
bool known_already(const std::vector<RaisedArea>& roofs, const RaisedArea& area) {
  return std::any_of(roofs.begin(), roofs.end(), [&](const RaisedArea& other) {
    return !(box_of(other.outline) & box_of(area.outline)).empty();
  });
}

std::vector<cv::Point2d> on_canvas(const Corners& cells, int cell_px) {
  std::vector<cv::Point2d> outline;
  for (const cv::Point2d& corner : cells)
    outline.push_back((corner + cv::Point2d(0.5, 0.5)) * cell_px - cv::Point2d(0.5, 0.5));
  return outline;
}

}  // namespace

std::vector<RaisedArea> swept_roofs(const std::vector<FrameView>& views, const Survey& survey,
                                    const std::vector<RaisedArea>& known) {
  std::vector<RaisedArea> roofs;
  if (views.size() < 2) return roofs;
  const HeightSweep sweep(views, survey);
  const Scatter ground = sweep.at(0, {0, 0, survey.columns, survey.rows});
  for (const cv::Rect& region : regions_apart(ground)) {
    const Candidate candidate = candidate_in(region, sweep, survey, ground);
    if (cv::countNonZero(candidate.cells) < kLeastCells) continue;
    const double height_px = refined_height(sweep, survey, candidate);
    const Scatter raised = sweep.at(height_px, region), there{ground.deviation(region), ground.mean(region)};
    Corners corners = fitted_to_edges(raised.mean, trimmed_box(candidate.cells));
    const cv::Mat inside =
        filled_outline({corners.begin(), corners.end()}, cv::Rect({}, there.deviation.size()));
    if (cv::countNonZero(inside) < kLeastCells || !agree_better(there, raised, inside) ||
        !has_clear_sides(raised.mean, corners))
      continue;
    for (cv::Point2d& corner : corners) corner += cv::Point2d(region.tl());
    const RaisedArea area{height_px, on_canvas(corners, survey.cell_px)};
    if (!known_already(known, area) && !known_already(roofs, area)) roofs.push_back(area);
  }
  return roofs;
}

bool must_be_joined(const std::vector<FrameView>& views, const RaisedArea& roof) {
  constexpr double kLong = 0.45;
  std::vector<int> widths;
  widths.reserve(views.size());
  for (const FrameView& view : views) widths.push_back(std::min(view.box.width, view.box.height));
  const double length =
      std::max(cv::norm(roof.outline[1] - roof.outline[0]), cv::norm(roof.outline[2] - roof.outline[1]));
  return length > kLong * median_in_place(widths) &&
         std::none_of(views.begin(), views.end(),
                      [&](const FrameView& view) { return sees_whole(view, roof); });
}

}  // namespace lookdown::mosaic
