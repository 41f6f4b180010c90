#include "stages/mosaic/roofs/roof_selection.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <opencv2/imgproc.hpp>

namespace lookdown::mosaic {
namespace {

constexpr float kOthersDisliked = 15;  // where one frame shows a roof whole; below hidden and glaring ground
constexpr double kMarginShare =
    0.012;  // of the flying height: roofs are outlined to a cell or two of the survey
constexpr double kFadeLengths = 2.2;  // of the shift: a smooth step steepest at 1.5 / 2.2 folds nothing
constexpr double kCoveringLengths = 0.8;
constexpr double kLongestShiftPx = 160;
constexpr double kSliver = 0.02;   // of a roof's cells
constexpr double kSteepest = 0.4;  // change of the lean along the canvas; frames themselves have h / (H - h)

cv::Point2d centre_of(cv::Point cell, int cell_px) {
  return {(cell.x + 0.5) * cell_px - 0.5, (cell.y + 0.5) * cell_px - 0.5};
}

std::vector<cv::Point2d> in_cells(std::vector<cv::Point2d> outline, int cell_px) {
  for (cv::Point2d& corner : outline)
    corner = (corner + cv::Point2d(0.5, 0.5)) / cell_px - cv::Point2d(0.5, 0.5);
  return outline;
}

class Outline {
 public:
  explicit Outline(const RaisedArea& roof)
      : box_(box_of(roof.outline)), corners_(roof.outline.begin(), roof.outline.end()) {}
  /// Of the outline, from a place outside it.
  [[nodiscard]] cv::Point2d nearest(const cv::Point2d& plan) const {
    cv::Point2d best;
    double least = std::numeric_limits<double>::max();
    for (std::size_t i = 0; i < corners_.size(); ++i) {
      const cv::Point2d from = corners_[i], along = cv::Point2d(corners_[(i + 1) % corners_.size()]) - from;
      const double length = along.dot(along),
                   share = length > 0 ? std::clamp((plan - from).dot(along) / length, 0.0, 1.0) : 0;
      const cv::Point2d at = from + along * share;
      if (const double far = cv::norm(plan - at); far < least) least = far, best = at;
    }
    return best;
  }
  /// Canvas pixels from the outline, positive inside.
  [[nodiscard]] double depth(const cv::Point2d& plan) const {
    return cv::pointPolygonTest(corners_, cv::Point2f(plan), true);
  }
  [[nodiscard]] bool contains(const cv::Point2d& plan) const { return is_near(plan, 0) && depth(plan) >= 0; }
  [[nodiscard]] bool is_near(const cv::Point2d& plan, double reach_px) const {
    return plan.x >= box_.x - reach_px && plan.y >= box_.y - reach_px && plan.x <= box_.br().x + reach_px &&
           plan.y <= box_.br().y + reach_px;
  }

 private:
  cv::Rect box_;
  std::vector<cv::Point2f> corners_;
};

double margin_px(const RaisedArea& roof, const FrameView& view) {
  return kMarginShare * std::max(view.height_px, view.height_px - roof.height_px);
}

/// Displacement of the roof as drawn against its plan, linear in the plan's place.
class Lean {
 public:
  Lean(const Eigen::Matrix2d& change, const Eigen::Vector2d& at_origin)
      : plan_from_drawn_((Eigen::Matrix2d::Identity() + change).inverse()), at_origin_(at_origin) {}
  /// Plan of what is drawn at a place of the canvas.
  [[nodiscard]] cv::Point2d plan(const cv::Point2d& drawn) const {
    const Eigen::Vector2d p = plan_from_drawn_ * (Eigen::Vector2d(drawn.x, drawn.y) - at_origin_);
    return {p.x(), p.y()};
  }

 private:
  Eigen::Matrix2d plan_from_drawn_;
  Eigen::Vector2d at_origin_;
};

struct LeanSample {
  cv::Point2d plan, lean;
};

/// What each of the chosen frames shows of a roof. A sliver at the rim is no part of the roof but an error of
/// its outline.
using ShownRoof = std::map<int, std::vector<LeanSample>>;

ShownRoof shown_of(const RaisedArea& roof, const std::vector<FrameView>& views, const Survey& survey,
                   const LabelMap& choice) {
  ShownRoof shown;
  const Outline outline(roof);
  for (int row = 0; row < survey.rows; ++row)
    for (int column = 0; column < survey.columns; ++column) {
      const short view = choice.at<short>(row, column);
      if (view < 0 || views[view].height_px <= roof.height_px) continue;
      const cv::Point2d at = centre_of({column, row}, survey.cell_px),
                        plan = plan_of(views[view], roof.height_px, at);
      if (!outline.contains(plan)) continue;
      shown[view].push_back({plan, at - plan});
    }
  std::size_t all = 0;
  for (const auto& [view, samples] : shown) all += samples.size();
  std::erase_if(shown, [&](const auto& of_view) {
    return static_cast<double>(of_view.second.size()) < kSliver * static_cast<double>(all);
  });
  return shown;
}

Lean fitted_lean(const std::vector<LeanSample>& samples) {
  Eigen::Vector2d middle = Eigen::Vector2d::Zero(), mean = Eigen::Vector2d::Zero();
  const auto count = static_cast<double>(samples.size());
  for (const LeanSample& sample : samples) {
    middle += Eigen::Vector2d(sample.plan.x, sample.plan.y) / count;
    mean += Eigen::Vector2d(sample.lean.x, sample.lean.y) / count;
  }
  Eigen::Matrix2d squares = Eigen::Matrix2d::Zero(), products = Eigen::Matrix2d::Zero();
  for (const LeanSample& sample : samples) {
    const Eigen::Vector2d off = Eigen::Vector2d(sample.plan.x, sample.plan.y) - middle;
    squares += off * off.transpose();
    products += (Eigen::Vector2d(sample.lean.x, sample.lean.y) - mean) * off.transpose();
  }
  // A touch of damping, for roofs that are all but a line.
  const Eigen::Matrix2d damped = squares + 1e-3 * squares.trace() * Eigen::Matrix2d::Identity();
  Eigen::Matrix2d change = products * damped.inverse();
  if (!(change.norm() < kSteepest)) change.setZero();
  return {change, mean - change * middle};
}

/// Pulls of several roofs on one frame, cell by cell of its box.
class Pulls {
 public:
  Pulls(const cv::Rect& cells, int cell_px)
      : cells_(cells),
        cell_px_(cell_px),
        sum_(cells.size(), CV_32FC2, cv::Scalar::all(0)),
        weight_(cells.size(), CV_32FC1, cv::Scalar(0)) {}
  void add(cv::Point cell, const cv::Point2d& shift, double weight) {
    cv::Vec2f& sum = sum_.at<cv::Vec2f>(cell - cells_.tl());
    float& before = weight_.at<float>(cell - cells_.tl());
    const cv::Vec2f by(static_cast<float>(shift.x), static_cast<float>(shift.y));
    if (before >= 1) return;  // on another roof, whose plane alone counts there
    if (weight >= 1)
      sum = by, before = 1;
    else
      sum += by * static_cast<float>(weight), before = static_cast<float>(std::min(0.999, before + weight));
  }
  /// No displacement leads out of the picture; where one would have, it is shortened and marked.
  [[nodiscard]] Bend bend(const FrameView& view) const {
    Bend bend{cells_, cell_px_, sum_, cv::Mat(sum_.size(), CV_8UC1, cv::Scalar(0))};
    for (int row = 0; row < sum_.rows; ++row)
      for (int column = 0; column < sum_.cols; ++column) {
        cv::Vec2f& shift = bend.shift_px.at<cv::Vec2f>(row, column);
        const cv::Point2d at = centre_of(cells_.tl() + cv::Point(column, row), cell_px_);
        if (shift == cv::Vec2f(0, 0) || !view.sight(at.x, at.y).usable) continue;
        for (int halving = 0; halving < 4 && !view.sight(at.x + shift[0], at.y + shift[1]).usable;
             ++halving) {
          shift *= halving < 3 ? 0.5F : 0.0F;
          bend.strained.at<uchar>(row, column) = 255;
        }
      }
    return bend;
  }

 private:
  cv::Rect cells_;
  int cell_px_;
  cv::Mat sum_, weight_;
};

/// What the view must show at a place of the canvas for the roof to stand there as it is drawn, less the
/// place.
cv::Point2d shift_at(const RaisedArea& roof, const Lean& lean, const FrameView& view, const cv::Point2d& at) {
  return leaned(view, roof.height_px, lean.plan(at)) - at;
}

/// The longest shift of what the view shows of the roof by the choice.
double longest_shift(const RaisedArea& roof, const Lean& lean, const FrameView& view,
                     const std::vector<LeanSample>& samples) {
  double longest = 0;
  for (const LeanSample& sample : samples)
    longest = std::max(longest, cv::norm(shift_at(roof, lean, view, sample.plan + sample.lean)));
  return longest;
}

void pull(const RaisedArea& roof, const Lean& lean, const FrameView& view, double longest_px,
          const Survey& survey, const cv::Rect& cells, Pulls& pulls) {
  const double margin = margin_px(roof, view), least_fade = 2 * survey.cell_px,
               reach = margin + kFadeLengths * longest_px + least_fade;
  const Outline outline(roof);
  for (int row = cells.y; row < cells.br().y; ++row)
    for (int column = cells.x; column < cells.br().x; ++column) {
      const cv::Point2d at = centre_of({column, row}, survey.cell_px), plan = lean.plan(at);
      if (!outline.is_near(plan, reach)) continue;
      const double beyond = -outline.depth(plan) - margin;
      const cv::Point2d shift = shift_at(roof, lean, view, at);
      if (beyond <= 0) {
        pulls.add({column, row}, shift, 1);
        continue;
      }
      // Where the roof moves in, its surroundings are stretched, or its own edge would show again; where it
      // moves out over them less will do, for it covers them.
      const cv::Point2d outward = plan - outline.nearest(plan);
      const double inward =
          std::clamp(shift.dot(outward) / std::max(1e-9, cv::norm(outward)), 0.0, longest_px);
      const double fade = least_fade + kCoveringLengths * (longest_px - inward) + kFadeLengths * inward;
      if (beyond >= fade) continue;
      const double rest = 1 - beyond / fade;
      pulls.add({column, row}, shift, 0.999 * rest * rest * (3 - 2 * rest));
    }
}

}  // namespace

void keep_whole(const std::vector<RaisedArea>& roofs, const std::vector<FrameView>& views, Survey& survey) {
  const cv::Rect grid(0, 0, survey.columns, survey.rows);
  for (const RaisedArea& roof : roofs) {
    double least = std::numeric_limits<double>::max();
    int best = -1;
    for (int i = 0; i < static_cast<int>(views.size()); ++i) {
      const SurveyFrame& frame = survey.frames[i];
      if (frame.bgr.empty() || !sees_whole(views[i], roof)) continue;
      const cv::Mat there =
          filled_outline(in_cells(hidden_outline(views[i], roof), survey.cell_px), frame.box) & frame.usable;
      if (cv::countNonZero(there) == 0) continue;
      const double dislike = cv::mean(frame.dislike, there)[0];
      if (dislike < least) least = dislike, best = i;
    }
    if (best < 0) continue;
    const cv::Mat kept = filled_outline(in_cells(hidden_outline(views[best], roof), survey.cell_px), grid);
    for (int i = 0; i < static_cast<int>(views.size()); ++i) {
      SurveyFrame& frame = survey.frames[i];
      if (i == best || frame.bgr.empty()) continue;
      cv::Mat(frame.dislike + kOthersDisliked).copyTo(frame.dislike, kept(frame.box));
    }
  }
}

void join_roofs(const std::vector<RaisedArea>& roofs, std::vector<FrameView>& views, const Survey& survey,
                const LabelMap& choice) {
  std::map<int, Pulls> pulls;
  for (const RaisedArea& roof : roofs) {
    const ShownRoof shown = shown_of(roof, views, survey, choice);
    if (shown.size() < 2) continue;
    std::vector<LeanSample> all;
    for (const auto& [view, samples] : shown) all.insert(all.end(), samples.begin(), samples.end());
    const Lean lean = fitted_lean(all);
    // Other frames show ground beside the roof, and none of it, as it lies.
    for (const auto& [view, samples] : shown) {
      const double longest = longest_shift(roof, lean, views[view], samples);
      if (longest > kLongestShiftPx) continue;
      const cv::Rect& box = survey.frames[view].box;
      pull(roof, lean, views[view], longest, survey, box,
           pulls.try_emplace(view, box, survey.cell_px).first->second);
    }
  }
  for (const auto& [view, of_roofs] : pulls) views[view].bend = of_roofs.bend(views[view]);
}

}  // namespace lookdown::mosaic
