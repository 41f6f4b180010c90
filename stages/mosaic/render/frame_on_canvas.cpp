#include "stages/mosaic/render/frame_on_canvas.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "stages/mosaic/geometry/warp.h"

namespace lookdown::mosaic {
namespace {

constexpr int kFadePx = 3;  // over which a filled patch gives way to its surroundings

struct Resampled {
  cv::Mat colours, map;
};

Resampled corrected_frame(const Scene& scene, FrameStore& store, int view_index, const cv::Rect& area,
                          const cv::Mat& shown) {
  const FrameView& view = scene.views[view_index];
  const double scale = typical_scale(view, area);
  const int reduction = decode_reduction(scale);
  const FrameStore::Picture picture = store.bgr(view.frame_index, reduction);
  cv::Mat map = position_map(view, area);
  const cv::Mat colours = shown.empty() ? resample(*picture, reduction, map, scale)
                                        : resample_shown(*picture, reduction, map, scale, shown);
  return {corrected(colours, map, scene.colours[view_index]), map};
}

/// Glare of the frame under `area`, 255 or 0; empty when the survey saw none near.
cv::Mat glare_on_canvas(const Scene& scene, FrameStore& store, int view_index, const cv::Rect& area,
                        const cv::Mat& map) {
  const SurveyFrame& surveyed = scene.survey.frames[view_index];
  if (surveyed.glare.empty()) return {};
  const cv::Rect cells = cells_round(scene.survey, area, 1) & surveyed.box;
  if (cells.empty() || cv::countNonZero(surveyed.glare(cells - surveyed.box.tl())) == 0) return {};
  const FrameStore::Picture mask = store.glare_mask(scene.views[view_index].frame_index);
  if (!mask) return {};
  cv::Mat glare;
  cv::remap(*mask, glare, map, cv::noArray(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  glare = glare > 0;  // a pixel that glare only touches is replaced too
  return cv::countNonZero(glare) > 0 ? glare : cv::Mat();
}

/// Views that see something of `area`, least disliked first; ties in the order of the record.
std::vector<int> donors_for(const Scene& scene, int but_not, const cv::Rect& area) {
  std::vector<std::pair<double, int>> ranked;
  const cv::Rect cells = cells_round(scene.survey, area, 0);
  for (int i = 0; i < static_cast<int>(scene.views.size()); ++i) {
    const SurveyFrame& surveyed = scene.survey.frames[i];
    const cv::Rect common = cells & surveyed.box;
    if (i == but_not || surveyed.bgr.empty() || common.empty()) continue;
    const cv::Mat usable = surveyed.usable(common - surveyed.box.tl());
    if (cv::countNonZero(usable) == 0) continue;
    ranked.emplace_back(cv::mean(surveyed.dislike(common - surveyed.box.tl()), usable)[0], i);
  }
  std::sort(ranked.begin(), ranked.end());
  std::vector<int> donors;
  donors.reserve(ranked.size());
  for (const auto& [dislike, view] : ranked) donors.push_back(view);
  return donors;
}

cv::Mat widened(const cv::Mat& mask, int side) {
  cv::Mat wide;
  cv::dilate(mask, wide, cv::getStructuringElement(cv::MORPH_ELLIPSE, {side, side}));
  return wide;
}

/// Mixes `other` into `colours`: wholly where `filled` is not zero, and fading out over a few pixels round it
/// as far as `allowed`, or the rim of each patch would show as a seam.
void mix_in(const cv::Mat& other, const cv::Mat& filled, const cv::Mat& allowed, cv::Mat colours) {
  cv::Mat soft;
  filled.convertTo(soft, CV_32F, 2.0 / 255);
  cv::GaussianBlur(soft, soft, {2 * kFadePx + 1, 2 * kFadePx + 1}, 1.2);
  for (int row = 0; row < colours.rows; ++row) {
    auto* colour = colours.ptr<cv::Vec3f>(row);
    const auto* from = other.ptr<cv::Vec3f>(row);
    for (int column = 0; column < colours.cols; ++column) {
      if (!allowed.at<uchar>(row, column)) continue;
      const float share = std::min(1.0F, soft.at<float>(row, column));
      if (share > 0) colour[column] += (from[column] - colour[column]) * share;
    }
  }
}

/// Fills what `donor` shows clean of `wanted` (255 = still to fill, over the whole of `frame`), keeping `rim`
/// pixels off the donor's own glare.
void fill_from(const Scene& scene, FrameStore& store, int donor, const cv::Rect& area, int rim,
               cv::Mat& wanted, FrameOnCanvas& frame) {
  const cv::Rect core = cv::boundingRect(wanted);
  const cv::Rect box =
      cv::Rect(core.x - kFadePx, core.y - kFadePx, core.width + 2 * kFadePx, core.height + 2 * kFadePx) &
      cv::Rect({}, wanted.size());
  const cv::Rect there = box + area.tl();
  const cv::Mat map = position_map(scene.views[donor], there);
  cv::Mat allowed = usable_map(scene.views[donor], there);
  if (cv::countNonZero(allowed & wanted(box)) == 0) return;
  if (const cv::Mat glare = glare_on_canvas(scene, store, donor, there, map); !glare.empty())
    allowed &= ~widened(glare, 2 * rim + 1);
  const cv::Mat clean = allowed & wanted(box);
  if (cv::countNonZero(clean) == 0) return;
  const Resampled other = corrected_frame(scene, store, donor, there, wanted(box));
  mix_in(other.colours, clean, allowed, frame.colours(box));
  frame.donor(box).setTo(donor, clean);
  wanted(box).setTo(0, clean);
}

void fill_from_others(const Scene& scene, FrameStore& store, int view, const cv::Rect& area, int rim,
                      cv::Mat wanted, FrameOnCanvas& frame) {
  if (cv::countNonZero(wanted) == 0) return;
  for (const int donor : donors_for(scene, view, cv::boundingRect(wanted) + area.tl())) {
    fill_from(scene, store, donor, area, rim, wanted, frame);
    if (cv::countNonZero(wanted) == 0) return;
  }
}

}  // namespace

FrameOnCanvas frame_on_canvas(const Scene& scene, FrameStore& store, int view, const cv::Rect& area,
                              const cv::Mat& shown) {
  FrameOnCanvas frame;
  const Resampled own = corrected_frame(scene, store, view, area, shown);
  frame.colours = own.colours;
  frame.glare = glare_on_canvas(scene, store, view, area, own.map);
  if (frame.glare.empty()) return frame;
  frame.donor = cv::Mat(area.size(), CV_16SC1, cv::Scalar(-1));
  // The rim of a glint is brighter than what lies under it though no longer called glare: first everything
  // with its rim, from places well away from glare; then what is left of the glare itself, from any place
  // that is clean.
  const cv::Mat usable = usable_map(scene.views[view], area);
  constexpr int kRim = 2;
  fill_from_others(scene, store, view, area, kRim, widened(frame.glare, 2 * kRim + 1) & usable, frame);
  fill_from_others(scene, store, view, area, 0, frame.glare & usable & (frame.donor < 0), frame);
  frame.glare.setTo(0, frame.donor >= 0);
  return frame;
}

}  // namespace lookdown::mosaic
