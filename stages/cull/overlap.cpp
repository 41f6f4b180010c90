#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/base/robust_statistics.h"
#include "stages/cull/blur/overlap_blur.h"
#include "stages/cull/blur_limits.h"
#include "stages/cull/cull.h"
#include "stages/cull/strangers.h"
#include "stages/cull/view.h"

namespace lookdown::cull {
namespace {

constexpr std::size_t kNeighbours = 3;

bool left_open(const FrameRecord& frame) {
  return !frame.fault && !frame.decision.by_person && frame.placement.placed &&
         std::any_of(frame.decision.reasons.begin(), frame.decision.reasons.end(),
                     [](const Reason& r) { return r.word == "too little detail"; });
}

bool can_judge(const FrameRecord& frame) {
  return !frame.fault && frame.placement.placed && frame.sharpness && frame.sharpness->blur_fwhm_px;
}

/// Placed frames with a known blur that `frame` is tied to, sharpest first.
std::vector<int> judges(const FlightRecord& flight, const FrameRecord& frame) {
  std::vector<int> out;
  for (int i : frame.placement.neighbours)
    if (i >= 0 && i < static_cast<int>(flight.frames.size()) && can_judge(flight.frames[i]) &&
        flight.frames[i].placement.group == frame.placement.group)
      out.push_back(i);
  std::stable_sort(out.begin(), out.end(), [&](int a, int b) {
    return *flight.frames[a].sharpness->blur_fwhm_px < *flight.frames[b].sharpness->blur_fwhm_px;
  });
  out.resize(std::min(out.size(), kNeighbours));
  return out;
}

/// Blur of `frame` in pixels (full width at half maximum) by comparison with its neighbours; the median of
/// what they say.
std::optional<double> blur_by_overlap(const FlightRecord& flight, const FrameRecord& frame,
                                      const FrameReader& reader) {
  const auto grey = reader.grey(frame.source.path);
  if (!grey) return std::nullopt;
  std::vector<double> widths;
  for (int i : judges(flight, frame)) {
    const FrameRecord& other = flight.frames[i];
    const auto other_grey = reader.grey(other.source.path);
    if (!other_grey) continue;
    const auto found = compare_overlap(frame, *grey, other, *other_grey);
    if (!found) continue;
    const double known = *other.sharpness->blur_fwhm_px / kFwhmOfSigma;
    widths.push_back(kFwhmOfSigma * std::sqrt(std::max(0.0, known * known + found->added_variance_px2)));
  }
  if (widths.empty()) return std::nullopt;
  return median_in_place(widths);
}

void settle(FrameRecord& frame, double fwhm_px, const BlurLimits& limits) {
  std::erase_if(frame.decision.reasons, [](const Reason& r) { return r.word == "too little detail"; });
  const Verdict verdict = fwhm_px > limits.blur_fwhm_px ? Verdict::drop : Verdict::keep;
  frame.decision.reasons.push_back(
      {verdict == Verdict::drop ? "blurred, by overlapping frames" : "sharp, by overlapping frames", fwhm_px,
       limits.blur_fwhm_px, "px", verdict});
  frame.decision.verdict = Verdict::keep;
  for (const Reason& reason : frame.decision.reasons)
    frame.decision.verdict = std::max(frame.decision.verdict, reason.asks_for);
  frame.sharpness->blur_fwhm_px = fwhm_px;
}

// The comparison of overlapping frames has changed how much of a frame is known to glare.
void judge_glare_again(FrameRecord& frame, const Options& options) {
  std::vector<Reason>& reasons = frame.decision.reasons;
  const bool glared =
      std::any_of(reasons.begin(), reasons.end(), [](const Reason& r) { return r.word == "glare"; });
  const bool glares = frame.glare && frame.glare->glare_share > options.max_glare_share;
  if (!glared && !glares) return;
  std::erase_if(reasons, [](const Reason& r) { return r.word == "glare"; });
  if (glares)
    reasons.push_back(
        {"glare", frame.glare->glare_share, options.max_glare_share, "of the frame", Verdict::unsure});
  frame.decision.verdict = Verdict::keep;
  for (const Reason& reason : reasons)
    frame.decision.verdict = std::max(frame.decision.verdict, reason.asks_for);
}

}  // namespace

void settle_by_overlap(FlightRecord& flight, const Options& options, RunContext& context) {
  const FlightBlurLimits limits(flight.frames, options);
  std::map<int, double> found;
  for (std::size_t i = 0; i < flight.frames.size(); ++i)
    if (left_open(flight.frames[i]))
      if (const auto fwhm_px = blur_by_overlap(flight, flight.frames[i], context.reader))
        found[static_cast<int>(i)] = *fwhm_px;
  // Settled only after all were compared: an answer must not depend on the order of the frames.
  for (FrameRecord& frame : flight.frames)
    if (!frame.fault && !frame.decision.by_person) judge_glare_again(frame, options);
  for (const auto& [index, fwhm_px] : found)
    settle(flight.frames[index], fwhm_px, limits.of(flight.frames[index]));
  settle_strangers(flight);
  tell_obliques_by_placement(flight);
}

}  // namespace lookdown::cull
