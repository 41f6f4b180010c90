#include "stages/mosaic/render/label_upsampling.h"

#include <algorithm>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/geometry/warp.h"

namespace lookdown::mosaic {
namespace {

constexpr int kVoteReachCells = 3;  // half the filter that smooths votes, and one for the interpolation

std::vector<int> views_in(const LabelMap& choice, const cv::Rect& cells) {
  std::vector<char> present(std::numeric_limits<short>::max(), 0);
  for (int row = cells.y; row < cells.br().y; ++row)
    for (int column = cells.x; column < cells.br().x; ++column)
      if (const short view = choice.at<short>(row, column); view >= 0) present[view] = 1;
  std::vector<int> views;
  for (std::size_t view = 0; view < present.size(); ++view)
    if (present[view]) views.push_back(static_cast<int>(view));
  return views;
}

/// Canvas pixels at which votes of cells among `cells` for `view` can count.
cv::Rect reach_of_votes(const Scene& scene, int view, const cv::Rect& cells) {
  const cv::Rect voting = cv::boundingRect(cv::Mat(scene.choice(cells) == view)) + cells.tl();
  const int cell = scene.survey.cell_px, rim = kVoteReachCells * cell;
  return {voting.x * cell - rim, voting.y * cell - rim, voting.width * cell + 2 * rim,
          voting.height * cell + 2 * rim};
}

/// How strongly the choice speaks for `view` at each pixel of `area`: the cells' votes, smoothed, so that
/// seams run smoothly between cells.
cv::Mat vote(const Scene& scene, int view, const cv::Rect& cells, const cv::Rect& area) {
  const int cell = scene.survey.cell_px;
  cv::Mat votes = scene.choice(cells) == view, smooth;
  votes.convertTo(votes, CV_32F, 1.0 / 255);
  cv::GaussianBlur(votes, smooth, {5, 5}, 0.9, 0.9, cv::BORDER_REPLICATE);
  // Cell (c, r) has its centre at canvas pixel (c + 0.5) cell - 0.5.
  const float step = 1.0F / cell;
  const cv::Matx23f cell_from_pixel(step, 0, (area.x + 0.5F) * step - 0.5F - cells.x, 0, step,
                                    (area.y + 0.5F) * step - 0.5F - cells.y);
  cv::Mat at_pixels;
  cv::warpAffine(smooth, at_pixels, cell_from_pixel, area.size(), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  return at_pixels;
}

}  // namespace

Shown shown_in(const Scene& scene, const cv::Rect& area) {
  const cv::Rect cells = cells_round(scene.survey, area, kVoteReachCells);
  const std::vector<int> candidates = views_in(scene.choice, cells);
  cv::Mat best_seen(area.size(), CV_32FC1, cv::Scalar(0)), best_any = best_seen.clone();
  cv::Mat seen_by(area.size(), CV_16SC1, cv::Scalar(-1)),
      any_by(area.size(), CV_16SC1, cv::Scalar(candidates.empty() ? -1 : 0));
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    const cv::Rect reach = reach_of_votes(scene, candidates[i], cells) & area;
    if (reach.empty()) continue;
    const cv::Rect inside = reach - area.tl();
    cv::Mat weight = vote(scene, candidates[i], cells, reach);
    // Where a frame ends before it can show a joined roof in place any other with a vote nearby does better.
    if (const cv::Mat strained = strained_map(scene.views[candidates[i]], reach); !strained.empty())
      cv::Mat(0.01 * weight).copyTo(weight, strained);
    // The same holds where something hides the place; where all are hidden, one shows it with an error.
    if (const cv::Mat hidden = hidden_map(scene.views[candidates[i]], reach); !hidden.empty())
      cv::Mat(0.01 * weight).copyTo(weight, hidden);
    const cv::Mat usable = usable_map(scene.views[candidates[i]], reach, true);
    const cv::Mat wins_seen = (weight > best_seen(inside)) & usable, wins_any = weight > best_any(inside);
    weight.copyTo(best_seen(inside), wins_seen);
    seen_by(inside).setTo(static_cast<double>(i), wins_seen);
    weight.copyTo(best_any(inside), wins_any);
    any_by(inside).setTo(static_cast<double>(i), wins_any);
  }
  // A frame must have a vote nearby, or it would spread along its own edge into places that the choice left
  // empty.
  Shown shown;
  shown.covered = best_seen > 1e-4F;
  any_by.copyTo(seen_by, ~shown.covered);
  std::vector<int> renumbered(candidates.size(), -1);
  for (std::size_t i = 0; i < candidates.size(); ++i)
    if (cv::countNonZero(seen_by == static_cast<double>(i)) > 0) {
      renumbered[i] = static_cast<int>(shown.views.size());
      shown.views.push_back(candidates[i]);
    }
  shown.place = seen_by;
  for (int row = 0; row < area.height; ++row)
    for (int column = 0; column < area.width; ++column) {
      short& place = shown.place.at<short>(row, column);
      if (place >= 0) place = static_cast<short>(renumbered[place]);
    }
  return shown;
}

}  // namespace lookdown::mosaic
