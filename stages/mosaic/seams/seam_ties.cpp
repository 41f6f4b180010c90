#include "stages/mosaic/seams/seam_ties.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <utility>

#include "stages/mosaic/geometry/view_digest.h"
#include "stages/mosaic/geometry/warp.h"
#include "stages/mosaic/seams/kept_ties.h"

namespace lookdown::mosaic {
namespace {

constexpr int kSpacingPx = 40;    // between ties along a seam
constexpr int kPatchPx = 49;      // side of the patch compared
constexpr int kReachPx = 8;       // searched: what lies farther apart would bend too visibly
constexpr double kBetter = 0.08;  // than where the placement puts it
constexpr double kLike = 0.65;    // least correlation
constexpr double kNeighbourSpacings = 2.6;

using Pair = std::pair<int, int>;

/// Places along the seams, thinned to one a bucket.
std::map<Pair, std::vector<cv::Point2d>> places_on_seams(const Survey& survey, const LabelMap& choice) {
  const int bucket_cells = std::max(1, kSpacingPx / survey.cell_px);
  std::map<Pair, std::map<std::pair<int, int>, cv::Point2d>> thinned;
  for (int row = 0; row < survey.rows; ++row)
    for (int column = 0; column < survey.columns; ++column)
      for (const cv::Point step : {cv::Point(1, 0), cv::Point(0, 1)}) {
        const cv::Point here(column, row), there = here + step;
        if (there.x >= survey.columns || there.y >= survey.rows) continue;
        const int a = choice.at<short>(here), b = choice.at<short>(there);
        if (a < 0 || b < 0 || a == b) continue;
        const cv::Point2d middle((here.x + there.x + 1) * 0.5 * survey.cell_px - 0.5,
                                 (here.y + there.y + 1) * 0.5 * survey.cell_px - 0.5);
        thinned[{std::min(a, b), std::max(a, b)}].try_emplace({row / bucket_cells, column / bucket_cells},
                                                              middle);
      }
  std::map<Pair, std::vector<cv::Point2d>> places;
  for (const auto& [pair, buckets] : thinned)
    for (const auto& [bucket, place] : buckets) places[pair].push_back(place);
  return places;
}

cv::Mat patch_round(const FrameView& view, FrameStore& store, cv::Point centre, int side) {
  const cv::Rect area(centre.x - side / 2, centre.y - side / 2, side, side);
  for (const cv::Point corner :
       {area.tl(), area.br(), cv::Point(area.x, area.br().y), cv::Point(area.br().x, area.y)})
    if (!view.sight(corner.x, corner.y).usable) return {};
  const double scale = typical_scale(view, area);
  const int reduction = decode_reduction(scale);
  const cv::Mat colours = resample(*store.bgr(view.frame_index, reduction), reduction,
                                   position_map(view, area), scale, Detail::coarse);
  cv::Mat grey;
  cv::cvtColor(colours, grey, cv::COLOR_BGR2GRAY);
  if (grey.depth() == CV_16U) grey.convertTo(grey, CV_8U, 1 / 257.0);  // what matchTemplate takes
  return grey;
}

/// Joined roofs are in register by themselves, and their walls and the ground beside them must not pull at
/// them.
bool near_joined_roof(const FrameView& view, cv::Point at) {
  const cv::Point2d shift = view.bend.at(at.x, at.y);
  return shift.x != 0 || shift.y != 0;
}

/// Waves move and glints with them: near glare nothing that looks alike need be the same.
bool near_glare(const SurveyFrame& frame, const Survey& survey, cv::Point at) {
  if (frame.glare.empty()) return false;
  constexpr int kAwayPx = 100;
  const int cell = survey.cell_px;
  const cv::Rect cells = cv::Rect((at.x - kAwayPx) / cell, (at.y - kAwayPx) / cell, 2 * kAwayPx / cell + 1,
                                  2 * kAwayPx / cell + 1) &
                         frame.box;
  return !cells.empty() && cv::countNonZero(frame.glare(cells - frame.box.tl())) > 0;
}

/// Vertex of the parabola through three values, from the middle one.
double vertex(double before, double at, double after) {
  const double bend = before - 2 * at + after;
  return bend < 0 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0;
}

/// Nothing where the two do not clearly show the same.
std::optional<cv::Point2d> apart_at(const FrameView& first, const FrameView& second, FrameStore& store,
                                    cv::Point at) {
  const cv::Mat shown = patch_round(first, store, at, kPatchPx);
  const cv::Mat searched = patch_round(second, store, at, kPatchPx + 2 * kReachPx);
  if (shown.empty() || searched.empty()) return std::nullopt;
  cv::Mat likeness;
  cv::matchTemplate(searched, shown, likeness, cv::TM_CCOEFF_NORMED);
  double best = 0;
  cv::Point place;
  cv::minMaxLoc(likeness, nullptr, &best, nullptr, &place);
  const bool at_rim =
      place.x == 0 || place.y == 0 || place.x + 1 == likeness.cols || place.y + 1 == likeness.rows;
  if (!(best > kLike) || at_rim) return std::nullopt;
  if (best < likeness.at<float>(kReachPx, kReachPx) + kBetter) return cv::Point2d(0, 0);
  const auto like = [&](int right, int down) { return likeness.at<float>(place.y + down, place.x + right); };
  return cv::Point2d(place.x - kReachPx + vertex(like(-1, 0), like(0, 0), like(1, 0)),
                     place.y - kReachPx + vertex(like(0, -1), like(0, 0), like(0, 1)));
}

/// Ties that some neighbour on the same seam confirms.
std::vector<SeamTie> confirmed(const std::vector<SeamTie>& ties) {
  std::vector<SeamTie> kept;
  for (const SeamTie& tie : ties) {
    const double allowed = std::max(2.0, 0.2 * cv::norm(tie.apart_px));
    const bool agrees = std::any_of(ties.begin(), ties.end(), [&](const SeamTie& other) {
      const double far = cv::norm(other.at_px - tie.at_px);
      return far > 0 && far < kNeighbourSpacings * kSpacingPx &&
             cv::norm(other.apart_px - tie.apart_px) < allowed;
    });
    if (agrees) kept.push_back(tie);
  }
  return kept;
}

}  // namespace

std::vector<SeamTie> seam_ties(const FlightRecord& flight, const std::vector<FrameView>& views,
                               const Survey& survey, const LabelMap& choice, FrameStore& store,
                               RunContext& context) {
  const std::map<Pair, std::vector<cv::Point2d>> places = places_on_seams(survey, choice);
  std::vector<Pair> pairs;
  pairs.reserve(places.size());
  for (const auto& [pair, along] : places) pairs.push_back(pair);
  std::vector<std::vector<SeamTie>> found(pairs.size());
  const std::vector<std::string> digests = view_digests(views, flight);
  constexpr std::int64_t kBytesAPair = 10'000'000;  // patches; the frames are the store's
  context.scheduler.for_each_frame(
      pairs.size(), kBytesAPair,
      [&](std::size_t i) {
        const auto first = pairs[i].first, second = pairs[i].second;
        KeptTies kept(context.cache, digests[first], digests[second], store.depth());
        for (const cv::Point2d at_px : places.at(pairs[i])) {
          const cv::Point at(static_cast<int>(std::lround(at_px.x)), static_cast<int>(std::lround(at_px.y)));
          if (near_glare(survey.frames[first], survey, at) || near_glare(survey.frames[second], survey, at) ||
              near_joined_roof(views[first], at) || near_joined_roof(views[second], at))
            continue;
          const auto apart = kept.at(at, [&] { return apart_at(views[first], views[second], store, at); });
          if (apart) found[i].push_back({first, second, at_px, *apart});
        }
        kept.keep();
        found[i] = confirmed(found[i]);
      },
      // A frame that can no longer be read shows when its tiles are rendered.
      [](std::size_t, const std::optional<Fault>&) {});
  std::vector<SeamTie> ties;
  for (const auto& of_pair : found) ties.insert(ties.end(), of_pair.begin(), of_pair.end());
  return ties;
}

}  // namespace lookdown::mosaic
