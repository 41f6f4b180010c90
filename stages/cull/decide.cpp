#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "stages/cull/blur_limits.h"
#include "stages/cull/cull.h"
#include "stages/cull/duplicates/near_duplicates.h"
#include "stages/cull/view.h"

namespace lookdown::cull {
namespace {

// Relative standard deviation of the width beyond which it says nothing.
constexpr double kTooUnsure = 1.0;
// Of sharp against blurred (Sharpness::sharpness_alone): where it speaks for sharp, a width beyond the limit,
// which coarse textures and enlarged pictures have by nature, drops nothing.
constexpr double kEvenOdds = 0.5;
constexpr double kHorizonLeniency = 1.4;  // little of such a frame is near enough to show detail
constexpr double kPartTimes = 2.0;        // a part counts as blurred at so many times the limit
// Share of the parts: of sharp frames of lakes at most a sixth look blurred, of frames blurred below or above
// their middle a third to a half do (every fourth picture, tests/bench/cull/RESULTS.md).
constexpr double kBlurredParts = 0.3;

void worsen(Decision& decision, Verdict verdict, Reason reason) {
  decision.verdict = std::max(decision.verdict, verdict);
  reason.asks_for = verdict;
  decision.reasons.push_back(std::move(reason));
}

void judge_blur(const Sharpness& s, BlurLimits limits, const Options& options, Decision& decision) {
  if (decision.view == View::horizon && !options.max_blur_px) limits.blur_fwhm_px *= kHorizonLeniency;
  const char* unit = limits.from == LimitFrom::camera ? "px (limit from this flight)"
                     : limits.from == LimitFrom::no_sharp_frame
                         ? "px (fixed limit: no sharp frame of this camera)"
                         : "px";
  if (!s.blur_fwhm_px || s.blur_sigma_share.value_or(0) > kTooUnsure) {
    worsen(decision, Verdict::unsure,
           {"too little detail", s.detail, kLeastDetail, "of the evidence wanted"});
    return;
  }
  const bool looks_sharp = !options.max_blur_px && s.sharpness_alone.value_or(0) > kEvenOdds;
  const bool wide = *s.blur_fwhm_px > limits.blur_fwhm_px && !looks_sharp;
  // Without a limit given, a smear must also make the blur wide: an uneven scene alone can look like a short
  // smear.
  if (const double moved_px = limits.moved_px(s);
      moved_px > limits.smear_px && (wide || options.max_smear_px))
    worsen(decision, Verdict::drop, {"smeared", moved_px, limits.smear_px, "px"});
  else if (wide)
    worsen(decision, Verdict::drop, {"blurred", s.blur_fwhm_px, limits.blur_fwhm_px, unit});
  else if (decision.view == View::nadir && s.sharpness && *s.sharpness < limits.least_sharpness)
    worsen(decision, Verdict::unsure,
           {"soft", s.sharpness, limits.least_sharpness, "sharpness (limit from this flight)"});
  else
    worsen(decision, Verdict::keep, {"sharp", s.blur_fwhm_px, limits.blur_fwhm_px, unit});
}

/// A frame that is sharp as a whole may be blurred in a part: rolling, a line or rig close to the lens. A
/// part that tells nothing, as most do over even water, is not blurred; the share is of all of the frame.
void judge_parts(const Sharpness& s, const BlurLimits& limits, Decision& decision) {
  // Toward a horizon the far parts are soft by nature.
  if (decision.verdict == Verdict::drop || decision.view != View::nadir || s.tiles.empty()) return;
  const auto blurred = std::count_if(s.tiles.begin(), s.tiles.end(), [&](const TileBlur& tile) {
    return tile.blur_fwhm_px.value_or(0) > kPartTimes * limits.blur_fwhm_px;
  });
  const double share = static_cast<double>(blurred) / static_cast<double>(s.tiles.size());
  if (share >= kBlurredParts)
    worsen(decision, Verdict::unsure, {"blurred in part", share, kBlurredParts, "of the frame's parts"});
}

void judge_exposure(const Sharpness& s, const Options& options, Decision& decision) {
  if (s.clipped_high_share > options.max_clipped_share)
    decision.reasons.push_back(
        {"clipped highlights", s.clipped_high_share, options.max_clipped_share, "of the frame"});
  if (s.clipped_low_share > options.max_clipped_share)
    decision.reasons.push_back(
        {"clipped shadows", s.clipped_low_share, options.max_clipped_share, "of the frame"});
}

void judge_glare(const FrameRecord& frame, const Options& options, Decision& decision) {
  if (frame.glare && frame.glare->glare_share > options.max_glare_share)
    worsen(decision, Verdict::unsure,
           {"glare", frame.glare->glare_share, options.max_glare_share, "of the frame"});
}

/// How good a frame is among near-repeats: sharp, straight down, little glare.
double merit(const FrameRecord& frame) {
  double score = frame.sharpness->sharpness.value_or(0);
  if (frame.tilt) score -= 0.01 * frame.tilt->off_nadir_deg;
  if (frame.glare) score -= frame.glare->glare_share;
  return score - (frame.decision.verdict == Verdict::drop ? 1 : 0);
}

void judge_repeats(FlightRecord& flight, const Options& options) {
  const std::vector<int> group = group_near_duplicates(flight.frames);
  std::map<int, int> best;
  for (int i = 0; i < static_cast<int>(group.size()); ++i) {
    if (group[i] < 0 || flight.frames[i].fault) continue;
    const auto [at, is_new] = best.try_emplace(group[i], i);
    if (!is_new && merit(flight.frames[i]) > merit(flight.frames[at->second])) at->second = i;
  }
  for (int i = 0; i < static_cast<int>(group.size()); ++i) {
    if (group[i] < 0 || flight.frames[i].fault || best[group[i]] == i) continue;
    FrameRecord& frame = flight.frames[i];
    frame.decision.repeat_of = flight.frames[best[group[i]]].source.file;
    if (!options.keep_repeats)
      worsen(frame.decision, Verdict::drop, {"near-repeat", std::nullopt, std::nullopt, ""});
  }
}

}  // namespace

void describe(Options& o, OptionVisitor& visitor) {
  visitor.option(
      {"max-blur-px",
       "drop frames with a blur wider than this (full width at half maximum); not given: from the flight",
       0.1, 1000},
      o.max_blur_px);
  visitor.option(
      {"max-smear-px",
       "drop frames with a motion smear longer than this; not given: 3 px at the middle strictness", 0.1,
       1000},
      o.max_smear_px);
  visitor.option({"strictness", "0 keeps more frames, 1 keeps fewer", 0, 1}, o.strictness);
  visitor.option({"max-clipped-share", "flag frames with a larger share of clipped pixels", 0, 1},
                 o.max_clipped_share);
  visitor.option({"max-glare-share", "frames with a larger share of glare are unsure", 0, 1},
                 o.max_glare_share);
  visitor.option({"keep-repeats", "do not drop near-repeats"}, o.keep_repeats);
  visitor.option(
      {"cover",
       "mark the fewest kept frames that still see all the ground at least so many times; 0 marks none", 0,
       100},
      o.cover);
  visitor.option({"cover-share", "share of the ground that the fewest frames must see", 0.01, 1},
                 o.cover_share);
  visitor.option({"collect",
                  "put the kept frames into the folder kept of the output; originals stay as they are",
                  0,
                  0,
                  {"none", "copy", "hardlink", "symlink"}},
                 o.collect);
}

void decide(FlightRecord& flight, const Options& options, const CoarseHorizons& coarse_horizons) {
  const FlightBlurLimits flight_limits(flight.frames, options);
  const std::vector<ViewFinding> views = find_views(flight.frames, coarse_horizons);
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    FrameRecord& frame = flight.frames[i];
    if (frame.fault || !frame.sharpness || frame.decision.by_person) continue;
    Decision decision;
    decision.verdict = Verdict::keep;
    decision.view = views[i].view;
    const BlurLimits& limits = flight_limits.of(frame);
    frame.sharpness->sharpness = limits.sharpness_of(*frame.sharpness);
    judge_blur(*frame.sharpness, limits, options, decision);
    judge_parts(*frame.sharpness, limits, decision);
    if (decision.view == View::other)
      for (const Reason& reason : views[i].reasons) worsen(decision, reason.asks_for, reason);
    judge_exposure(*frame.sharpness, options, decision);
    judge_glare(frame, options, decision);
    frame.decision = std::move(decision);
  }
  judge_repeats(flight, options);
}

}  // namespace lookdown::cull
