#include "stages/mosaic/seams/seam_alignment.h"

#include <algorithm>
#include <cmath>

namespace lookdown::mosaic {
namespace {

constexpr double kWorthBendingPx = 0.75;
constexpr double kFadePx = 64;  // over which a bend fades
constexpr double kCorePx = 24;  // within it of a tie other ties hardly count

/// A displacement asked of a frame at a place.
struct Pull {
  cv::Point2d at_px, shift_px;
};

bool would_see(const FrameView& view, cv::Point2d at_px) {
  return view.sight(at_px.x, at_px.y).usable;
}

void share_tie(const std::vector<FrameView>& views, const SeamTie& tie,
               std::vector<std::vector<Pull>>& pulls) {
  cv::Point2d first(0, 0), second(0, 0);
  if (cv::norm(tie.apart_px) >= kWorthBendingPx) {
    first = -0.5 * tie.apart_px;
    if (!would_see(views[tie.first], tie.at_px + first)) first = {0, 0};
    second = first + tie.apart_px;
    if (!would_see(views[tie.second], tie.at_px + second)) {
      second = {0, 0};
      first = -tie.apart_px;
    }
  }
  const auto pull = [&](const cv::Point2d& shift) { return Pull{tie.at_px, shift}; };
  pulls[tie.first].push_back(pull(first));
  pulls[tie.second].push_back(pull(second));
}

/// Weighted means of the pulls at the cells, faded with the distance from the nearest that bends.
class Field {
 public:
  Field(const cv::Rect& cells, int cell_px)
      : cells_(cells),
        cell_px_(cell_px),
        sum_(cells.size(), CV_32FC2, cv::Scalar::all(0)),
        weight_(cells.size(), CV_32FC1, cv::Scalar(0)),
        strength_(cells.size(), CV_32FC1, cv::Scalar(0)) {}
  void add(const Pull& pull) {
    const auto first = cell_at(pull.at_px - cv::Point2d(kFadePx, kFadePx)),
               last = cell_at(pull.at_px + cv::Point2d(kFadePx, kFadePx));
    const cv::Rect reached = cv::Rect(first, last + cv::Point(1, 1)) & cells_;
    const bool bends = cv::norm(pull.shift_px) > 0;
    for (int row = reached.y; row < reached.br().y; ++row)
      for (int column = reached.x; column < reached.br().x; ++column) {
        const double far = std::hypot((column + 0.5) * cell_px_ - 0.5 - pull.at_px.x,
                                      (row + 0.5) * cell_px_ - 0.5 - pull.at_px.y);
        const double near = 1 - far / kFadePx;
        if (near <= 0) continue;
        const cv::Point here(column - cells_.x, row - cells_.y);
        const auto weight = static_cast<float>(near * near / (far * far + kCorePx * kCorePx));
        sum_.at<cv::Vec2f>(here) +=
            weight * cv::Vec2f(static_cast<float>(pull.shift_px.x), static_cast<float>(pull.shift_px.y));
        weight_.at<float>(here) += weight;
        if (bends) strength_.at<float>(here) = std::max(strength_.at<float>(here), static_cast<float>(near));
      }
  }
  [[nodiscard]] Bend bend() const {
    Bend bend{cells_, cell_px_, cv::Mat(cells_.size(), CV_32FC2, cv::Scalar::all(0)), {}};
    for (int row = 0; row < sum_.rows; ++row)
      for (int column = 0; column < sum_.cols; ++column) {
        const float near = strength_.at<float>(row, column);
        if (near <= 0) continue;
        const float fade = near * near * (3 - 2 * near);
        bend.shift_px.at<cv::Vec2f>(row, column) =
            sum_.at<cv::Vec2f>(row, column) * (fade / weight_.at<float>(row, column));
      }
    return bend;
  }

 private:
  [[nodiscard]] cv::Point cell_at(cv::Point2d px) const {
    return {static_cast<int>(std::floor(px.x / cell_px_)), static_cast<int>(std::floor(px.y / cell_px_))};
  }
  cv::Rect cells_;
  int cell_px_;
  cv::Mat sum_, weight_, strength_;
};

}  // namespace

void bend_frames(std::vector<FrameView>& views, const Survey& survey, const std::vector<SeamTie>& ties) {
  std::vector<std::vector<Pull>> pulls(views.size());
  for (const SeamTie& tie : ties) share_tie(views, tie, pulls);
  for (std::size_t view = 0; view < views.size(); ++view) {
    const bool any = std::any_of(pulls[view].begin(), pulls[view].end(),
                                 [](const Pull& pull) { return cv::norm(pull.shift_px) > 0; });
    if (!any) continue;
    Field field(survey.frames[view].box, survey.cell_px);
    for (const Pull& pull : pulls[view]) field.add(pull);
    Bend bend = field.bend();
    if (!views[view].bend.empty()) {
      bend.shift_px += views[view].bend.shift_px;
      bend.strained = views[view].bend.strained;
    }
    views[view].bend = bend;
  }
}

}  // namespace lookdown::mosaic
