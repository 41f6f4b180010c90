#include "stages/mosaic/frame_on_canvas.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "stages/mosaic/warp.h"

namespace lookdown::mosaic {
namespace {

struct Resampled {
  cv::Mat colours, map;
};

Resampled corrected_frame(const Scene& scene, FrameStore& store, int view_index, const cv::Rect& area) {
  const FrameView& view = scene.views[view_index];
  const double scale = typical_scale(view, area);
  const int reduction = decode_reduction(scale);
  const FrameStore::Picture picture = store.bgr(view.frame_index, reduction);
  cv::Mat map = position_map(view, area);
  return {corrected(resample(*picture, reduction, map, scale), map, scene.colours[view_index]), map};
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
  glare = glare > 127;
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
  for (const auto& [dislike, view] : ranked) donors.push_back(view);
  return donors;
}

cv::Mat widened(const cv::Mat& mask, int side) {
  cv::Mat wide;
  cv::dilate(mask, wide, cv::getStructuringElement(cv::MORPH_ELLIPSE, {side, side}));
  return wide;
}

/// Fills what `donor` shows clean of `wanted` (255 = still to fill, over the whole of `frame`), keeping `rim`
/// pixels off the donor's own glare.
void fill_from(const Scene& scene, FrameStore& store, int donor, const cv::Rect& area, int rim,
               cv::Mat& wanted, FrameOnCanvas& frame) {
  const cv::Rect box = cv::boundingRect(wanted);
  const cv::Rect there = box + area.tl();
  const cv::Mat map = position_map(scene.views[donor], there);
  cv::Mat clean = usable_map(scene.views[donor], there) & wanted(box);
  if (cv::countNonZero(clean) == 0) return;
  if (const cv::Mat glare = glare_on_canvas(scene, store, donor, there, map); !glare.empty())
    clean &= ~widened(glare, 2 * rim + 1);
  if (cv::countNonZero(clean) == 0) return;
  const Resampled other = corrected_frame(scene, store, donor, there);
  other.colours.copyTo(frame.colours(box), clean);
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

FrameOnCanvas frame_on_canvas(const Scene& scene, FrameStore& store, int view, const cv::Rect& area) {
  FrameOnCanvas frame;
  const Resampled own = corrected_frame(scene, store, view, area);
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
