#include "stages/mosaic/seams/seams.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/base/minimum_cut.h"
#include "pipeline/base/scheduler.h"
#include "stages/mosaic/seams/parallax_mask.h"
#include "stages/mosaic/seams/saliency.h"

namespace lookdown::mosaic {
namespace {

constexpr float kPerCodeValue =
    0.12F;  // cost of a code value of difference across a seam, in doublings of resolution
constexpr float kSalientPerCodeValue =
    0.04F;                        // of standing out from the surroundings: boards, people, edges of roofs
constexpr float kLength = 0.25F;  // of a seam as such, per cell
constexpr float kThingCut =
    12;  // of cutting something that stands off the plane: its two sides will not meet
constexpr float kUnknownDifference = 25;  // code values, where the two frames share no cell beside the seam
constexpr float kForbidden = 1000;        // dislike that no seam outweighs
constexpr int kMostSweeps = 4;
constexpr double kWorthASweep = 2e-4;  // share of the energy

class SeamEnergy {
 public:
  SeamEnergy(const Survey& survey, const LabelMap& first_choice)
      : survey_(survey),
        structures_(structures_of(survey)),
        off_plane_(things_off_plane(survey, structures_, first_choice)) {}

  [[nodiscard]] float dislike(int view, cv::Point cell) const {
    const SurveyFrame& frame = survey_.frames[view];
    return frame.dislike.at<float>(cell - frame.box.tl());
  }

  /// Cost of showing `a` at `p` and `b` at its neighbour `q`.
  [[nodiscard]] float seam(int a, int b, cv::Point p, cv::Point q) const {
    if (a == b) return 0;
    const float at_p = cost_at(a, b, p), at_q = cost_at(a, b, q);
    const float cut = off_plane_.at<uchar>(p) && off_plane_.at<uchar>(q) ? kLength + kThingCut : kLength;
    if (at_p < 0 && at_q < 0) return cut + kPerCodeValue * kUnknownDifference;
    if (at_p < 0) return cut + at_q;
    if (at_q < 0) return cut + at_p;
    return cut + 0.5F * (at_p + at_q);
  }

 private:
  /// In cost units, or -1 when it cannot be told.
  [[nodiscard]] float cost_at(int a, int b, cv::Point cell) const {
    const float apart = difference_at(survey_, structures_, a, b, cell);
    if (apart < 0) return -1;
    const int salience = structures_[a].salience.at<uchar>(cell - survey_.frames[a].box.tl()) +
                         structures_[b].salience.at<uchar>(cell - survey_.frames[b].box.tl());
    return kPerCodeValue * apart + 0.5F * kSalientPerCodeValue * static_cast<float>(salience);
  }

  const Survey& survey_;
  std::vector<Structure> structures_;
  cv::Mat off_plane_;
};

const std::array<cv::Point, 2> kForward{cv::Point(1, 0), cv::Point(0, 1)};
const std::array<cv::Point, 4> kAround{cv::Point(1, 0), cv::Point(0, 1), cv::Point(-1, 0), cv::Point(0, -1)};

double total_energy(const Survey& survey, const SeamEnergy& energy, const LabelMap& choice) {
  double sum = 0;
  for (int row = 0; row < survey.rows; ++row)
    for (int column = 0; column < survey.columns; ++column) {
      const cv::Point here(column, row);
      const short view = choice.at<short>(here);
      if (view < 0) continue;
      sum += energy.dislike(view, here);
      for (const cv::Point step : kForward) {
        const cv::Point there = here + step;
        if (there.x >= survey.columns || there.y >= survey.rows) continue;
        const short other = choice.at<short>(there);
        if (other >= 0) sum += energy.seam(view, other, here, there);
      }
    }
  return sum;
}

/// Cells that one move may give to a frame, numbered.
struct Movable {
  std::vector<cv::Point> cells;
  cv::Mat number;  ///< CV_32SC1 over the frame's box, -1 for cells that stay
};

Movable movable_cells(const SurveyFrame& frame, int view, const LabelMap& choice) {
  Movable movable;
  movable.number = cv::Mat(frame.box.size(), CV_32SC1, cv::Scalar(-1));
  for (int row = 0; row < frame.box.height; ++row)
    for (int column = 0; column < frame.box.width; ++column) {
      const cv::Point cell = frame.box.tl() + cv::Point(column, row);
      if (!frame.usable.at<uchar>(row, column) || choice.at<short>(cell) == view) continue;
      movable.number.at<int>(row, column) = static_cast<int>(movable.cells.size());
      movable.cells.push_back(cell);
    }
  return movable;
}

/// The best move that gives any of its cells to `view`. Source side of the cut: keeps its frame; sink side:
/// is given.
bool expand(const Survey& survey, const SeamEnergy& energy, int view, LabelMap& choice) {
  const SurveyFrame& frame = survey.frames[view];
  const Movable movable = movable_cells(frame, view, choice);
  const int count = static_cast<int>(movable.cells.size());
  if (count == 0) return false;
  MinimumCut cut(count, 2 * count);
  std::vector<double> keep(count), give(count);
  for (int node = 0; node < count; ++node) {
    const cv::Point here = movable.cells[node];
    const short now = choice.at<short>(here);
    keep[node] += energy.dislike(now, here);
    give[node] += energy.dislike(view, here);
    for (const cv::Point step : kAround) {
      const cv::Point there = here + step;
      if (there.x < 0 || there.y < 0 || there.x >= survey.columns || there.y >= survey.rows) continue;
      const short other = choice.at<short>(there);
      if (other < 0) continue;
      const int neighbour = frame.box.contains(there) ? movable.number.at<int>(there - frame.box.tl()) : -1;
      if (neighbour < 0) {
        keep[node] += energy.seam(now, other, here, there);
        give[node] += energy.seam(view, other, here, there);
      } else if (neighbour > node) {
        // Kolmogorov & Zabih, IEEE TPAMI 26(2):147-159 (2004): a table of pair costs (both keep, only there
        // given, only here given, both given = 0) is two single costs and one link, cut short at 0 where the
        // differences break the triangle inequality.
        const double both_keep = energy.seam(now, other, here, there),
                     only_there = energy.seam(now, view, here, there),
                     only_here = energy.seam(view, other, here, there);
        keep[node] += both_keep;
        give[node] += only_here;
        keep[neighbour] += only_here;
        cut.add_link(node, neighbour, std::max(0.0, only_there + only_here - both_keep), 0);
      }
    }
  }
  for (int node = 0; node < count; ++node) cut.add_terminal(node, give[node], keep[node]);
  cut.solve();
  bool changed = false;
  for (int node = 0; node < count; ++node)
    if (!cut.on_source_side(node)) {
      choice.at<short>(movable.cells[node]) = static_cast<short>(view);
      changed = true;
    }
  return changed;
}

}  // namespace

double optimise_seams(const Survey& survey, LabelMap& choice) {
  const SeamEnergy energy(survey, choice);
  double now = total_energy(survey, energy, choice);
  for (int sweep = 0; sweep < kMostSweeps; ++sweep) {
    bool changed = false;
    for (std::size_t view = 0; view < survey.frames.size(); ++view) {
      stop_if_requested();
      if (!survey.frames[view].bgr.empty()) changed |= expand(survey, energy, static_cast<int>(view), choice);
    }
    const double before = now;
    now = total_energy(survey, energy, choice);
    if (!changed || before - now < kWorthASweep * before) break;
  }
  return now;
}

void forbid_avoidable_glare(Survey& survey) {
  cv::Mat cleanest(survey.rows, survey.columns, CV_8UC1, cv::Scalar(255));
  for (const SurveyFrame& frame : survey.frames) {
    if (frame.bgr.empty()) continue;
    cv::Mat here = cleanest(frame.box);
    const cv::Mat share =
        frame.glare.empty() ? cv::Mat(frame.box.size(), CV_8UC1, cv::Scalar(0)) : frame.glare;
    cv::Mat(cv::min(here, share)).copyTo(here, frame.usable);
  }
  for (SurveyFrame& frame : survey.frames) {
    if (frame.bgr.empty() || frame.glare.empty()) continue;
    cv::Mat(frame.dislike + kForbidden).copyTo(frame.dislike, (cleanest(frame.box) == 0) & (frame.glare > 0));
  }
}

}  // namespace lookdown::mosaic
