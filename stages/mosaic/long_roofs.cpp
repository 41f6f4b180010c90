#include "stages/mosaic/long_roofs.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/roof_outline.h"

namespace lookdown::mosaic {
namespace {

constexpr double kLowest = 0.03, kHighest = 0.4;  // of the cameras' height
constexpr double kStepCells = 2;                  // of height; frames half a height apart see it as one cell
constexpr double kDisagrees = 8;                  // code values of scatter: more than noise and colour leave
constexpr double kAgreesShare = 0.6;  // scatter at the right height over that on the ground, at most
constexpr int kLeastCells = 150;      // of area
constexpr float kHidden = 30;         // dislike of ground behind a roof, below avoidable glare only

/// How far the frames are apart at each cell when all are laid on one height, as standard deviation in code
/// values, smoothed; -1 where fewer than two see it. CV_32FC1.
struct Scatter {
  cv::Mat deviation, mean;
};

/// Canvas cells from cells of the frame's ground picture, for what lies `height_px` up.
cv::Matx23d picture_from_cells(const FrameView& view, const Survey& survey, const cv::Rect& box,
                               double height_px) {
  const double factor = view.height_px / (view.height_px - height_px);
  const auto along = [&](double nadir_px, int first_cell) {
    const double nadir = (nadir_px + 0.5) / survey.cell_px - 0.5;
    return nadir * (1 - factor) - first_cell;
  };
  return {factor, 0, along(view.nadir_x_px, box.x), 0, factor, along(view.nadir_y_px, box.y)};
}

class Sweep {
 public:
  Sweep(const std::vector<FrameView>& views, const Survey& survey) : views_(views), survey_(survey) {
    std::vector<double> heights;
    for (std::size_t i = 0; i < views.size(); ++i) {
      cv::Mat grey;
      if (!survey.frames[i].bgr.empty()) cv::cvtColor(survey.frames[i].bgr, grey, cv::COLOR_BGR2GRAY);
      grey_.push_back(grey);
      const cv::Mat& glare = survey.frames[i].glare;
      known_.push_back(glare.empty() ? survey.frames[i].usable
                                     : cv::Mat(survey.frames[i].usable & (glare == 0)));
      heights.push_back(views[i].height_px);
    }
    std::nth_element(heights.begin(), heights.begin() + heights.size() / 2, heights.end());
    usual_height_px_ = heights[heights.size() / 2];
  }
  [[nodiscard]] double usual_height_px() const { return usual_height_px_; }

  /// Over the cells of `region`.
  [[nodiscard]] Scatter at(double height_px, const cv::Rect& region) const {
    const cv::Size size = region.size();
    cv::Mat sum(size, CV_32FC1, cv::Scalar(0)), squares = sum.clone(), count = sum.clone();
    for (std::size_t i = 0; i < views_.size(); ++i) {
      const SurveyFrame& frame = survey_.frames[i];
      if (grey_[i].empty() || views_[i].height_px <= 1.5 * height_px) continue;
      cv::Matx23d from = picture_from_cells(views_[i], survey_, frame.box, height_px);
      from(0, 2) += from(0, 0) * region.x;
      from(1, 2) += from(1, 1) * region.y;
      // Cells whose fetched place lies in the frame's box: the box shrunk about the nadir.
      const auto back = [&](double place, int axis) { return (place - from(axis, 2)) / from(axis, axis); };
      const cv::Rect reach = cv::Rect(cv::Point(static_cast<int>(std::floor(back(0, 0))),
                                                static_cast<int>(std::floor(back(0, 1)))),
                                      cv::Point(static_cast<int>(std::ceil(back(frame.box.width, 0))),
                                                static_cast<int>(std::ceil(back(frame.box.height, 1))))) &
                             cv::Rect({}, size);
      if (reach.empty()) continue;
      const cv::Matx23d local(from(0, 0), 0, from(0, 2) + from(0, 0) * reach.x, 0, from(1, 1),
                              from(1, 2) + from(1, 1) * reach.y);
      cv::Mat grey, usable, value, seen;
      cv::warpAffine(grey_[i], grey, local, reach.size(), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                     cv::BORDER_REPLICATE);
      cv::warpAffine(known_[i], usable, local, reach.size(), cv::INTER_NEAREST | cv::WARP_INVERSE_MAP,
                     cv::BORDER_CONSTANT);
      grey.convertTo(value, CV_32F);
      usable.convertTo(seen, CV_32F, 1.0 / 255);
      sum(reach) += value.mul(seen);
      squares(reach) += value.mul(value).mul(seen);
      count(reach) += seen;
    }
    return finished(sum, squares, count);
  }

 private:
  static Scatter finished(const cv::Mat& sum, const cv::Mat& squares, const cv::Mat& count) {
    Scatter scatter{cv::Mat(sum.size(), CV_32FC1, cv::Scalar(-1)),
                    cv::Mat(sum.size(), CV_32FC1, cv::Scalar(0))};
    cv::Mat variance(sum.size(), CV_32FC1, cv::Scalar(0)), known(sum.size(), CV_32FC1, cv::Scalar(0));
    for (int row = 0; row < sum.rows; ++row)
      for (int column = 0; column < sum.cols; ++column) {
        const float times = count.at<float>(row, column);
        if (times < 1) continue;
        const float mean = sum.at<float>(row, column) / times;
        scatter.mean.at<float>(row, column) = mean;
        if (times < 2) continue;
        variance.at<float>(row, column) =
            std::max(0.0F, squares.at<float>(row, column) / times - mean * mean) * times / (times - 1);
        known.at<float>(row, column) = 1;
      }
    cv::Mat smooth, share;
    cv::boxFilter(variance, smooth, CV_32F, {5, 5}, {-1, -1}, false, cv::BORDER_CONSTANT);
    cv::boxFilter(known, share, CV_32F, {5, 5}, {-1, -1}, false, cv::BORDER_CONSTANT);
    for (int row = 0; row < sum.rows; ++row)
      for (int column = 0; column < sum.cols; ++column)
        if (known.at<float>(row, column) > 0)
          scatter.deviation.at<float>(row, column) =
              std::sqrt(smooth.at<float>(row, column) / share.at<float>(row, column));
    return scatter;
  }

  const std::vector<FrameView>& views_;
  const Survey& survey_;
  std::vector<cv::Mat> grey_, known_;
  double usual_height_px_ = 0;
};

/// By how much the frames agree better at a height than on the ground, code values; 0 where either is
/// unknown.
cv::Mat evidence(const Scatter& ground, const Scatter& raised) {
  cv::Mat gain = ground.deviation - raised.deviation;
  gain.setTo(0, (ground.deviation < 0) | (raised.deviation < 0));
  return gain;
}

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
Candidate candidate_in(const cv::Rect& region, const Sweep& sweep, const Survey& survey,
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
double refined_height(const Sweep& sweep, const Survey& survey, const Candidate& candidate) {
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

bool some_frame_sees_all(const std::vector<FrameView>& views, const RaisedArea& area) {
  return std::any_of(views.begin(), views.end(), [&](const FrameView& view) {
    const std::vector<cv::Point2d> needed = hidden_outline(view, area);
    return std::all_of(needed.begin(), needed.end(),
                       [&](const cv::Point2d& corner) { return view.sight(corner.x, corner.y).usable; });
  });
}

/// True for what is long against a frame: a short roof that no frame sees whole stands at the edge of the
/// flight, where nothing can be told of it safely.
bool is_long(const std::vector<FrameView>& views, const RaisedArea& area) {
  constexpr double kLong = 0.45;
  std::vector<int> widths;
  for (const FrameView& view : views) widths.push_back(std::min(view.box.width, view.box.height));
  std::nth_element(widths.begin(), widths.begin() + widths.size() / 2, widths.end());
  const double length =
      std::max(cv::norm(area.outline[1] - area.outline[0]), cv::norm(area.outline[2] - area.outline[1]));
  return length > kLong * widths[widths.size() / 2];
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

/// True where the frames really agree over the whole of the outline at its height.
bool convinces(const Scatter& ground, const Scatter& raised, const Corners& corners) {
  const cv::Rect whole({}, ground.deviation.size());
  const cv::Mat inside = filled_outline({corners.begin(), corners.end()}, whole) & (ground.deviation >= 0) &
                         (raised.deviation >= 0);
  const int cells = cv::countNonZero(inside);
  if (cells < kLeastCells) return false;
  const cv::Mat better = (evidence(ground, raised) > 0) & inside;
  return cv::mean(raised.deviation, inside)[0] < kAgreesShare * cv::mean(ground.deviation, inside)[0] &&
         cv::countNonZero(better) > 0.7 * cells;
}

cv::Mat fetched(const cv::Mat& layer, const cv::Matx23d& from, cv::Size size, int how) {
  cv::Mat out;
  cv::warpAffine(layer, out, from, size, how | cv::WARP_INVERSE_MAP, cv::BORDER_CONSTANT);
  return out;
}

void raise_in_frame(const RaisedArea& area, const FrameView& view, const Survey& survey, SurveyFrame& frame) {
  const cv::Rect box = frame.box;
  const auto in_cells = [&](std::vector<cv::Point2d> outline) {
    for (cv::Point2d& corner : outline)
      corner = (corner + cv::Point2d(0.5, 0.5)) / survey.cell_px - cv::Point2d(0.5, 0.5);
    return outline;
  };
  const cv::Mat roof = filled_outline(in_cells(area.outline), box);
  const cv::Mat hidden = filled_outline(in_cells(hidden_outline(view, area)), box) & ~roof;
  cv::Matx23d from = picture_from_cells(view, survey, box, area.height_px);
  from(0, 2) += from(0, 0) * box.x;
  from(1, 2) += from(1, 1) * box.y;
  for (cv::Mat* layer : {&frame.bgr, &frame.dislike, &frame.usable, &frame.glare})
    if (!layer->empty())
      fetched(*layer, from, box.size(), layer == &frame.usable ? cv::INTER_NEAREST : cv::INTER_LINEAR)
          .copyTo(*layer, roof);
  cv::Mat(frame.dislike + kHidden).copyTo(frame.dislike, hidden);
}

}  // namespace

std::vector<RaisedArea> long_roofs(const std::vector<FrameView>& views, const Survey& survey,
                                   FrameStore& store) {
  std::vector<RaisedArea> roofs;
  if (views.size() < 2) return roofs;
  const Sweep sweep(views, survey);
  const Scatter ground = sweep.at(0, {0, 0, survey.columns, survey.rows});
  for (const cv::Rect& region : regions_apart(ground)) {
    const Candidate candidate = candidate_in(region, sweep, survey, ground);
    if (cv::countNonZero(candidate.cells) < kLeastCells) continue;
    const double height_px = refined_height(sweep, survey, candidate);
    const Scatter raised = sweep.at(height_px, region), there{ground.deviation(region), ground.mean(region)};
    Corners corners = fitted_to_edges(raised.mean, trimmed_box(candidate.cells));
    if (!convinces(there, raised, corners) || !has_clear_sides(raised.mean, corners)) continue;
    for (cv::Point2d& corner : corners) corner += cv::Point2d(region.tl());
    const RaisedArea area{height_px, on_canvas(corners, survey.cell_px)};
    if (is_long(views, area) && !some_frame_sees_all(views, area) && !known_already(roofs, area))
      roofs.push_back(fitted_at_full_size(area, views, store, std::max(3, 3 * survey.cell_px / 2)));
  }
  return roofs;
}

void raise(const std::vector<RaisedArea>& areas, std::vector<FrameView>& views, Survey& survey) {
  for (std::size_t i = 0; i < views.size(); ++i) {
    views[i].raised_areas = areas;
    if (survey.frames[i].bgr.empty()) continue;
    for (const RaisedArea& area : areas) raise_in_frame(area, views[i], survey, survey.frames[i]);
  }
}

}  // namespace lookdown::mosaic
