// cull: which frames are sharp, exposed, of the ground, and not the same again. Common rules: blur is in
// pixels of the frame as stored and does not depend on content; a frame that does not tell is `unsure` with
// the reason "too little detail"; every verdict names the number and the limit that decided it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/imaging/frame_reader.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace cv {
class Mat;
}

namespace lookdown::cull {

struct Options {
  std::optional<double>
      max_blur_px;  ///< full width at half maximum above which a frame is dropped; empty: from the flight
  std::optional<double> max_smear_px;  ///< smear length above which a frame is dropped; empty: 3 px
  double strictness = 0.5;             ///< 0 keeps more, 1 keeps fewer
  double max_clipped_share = 0.2;      ///< above: flagged
  double max_glare_share = 0.3;        ///< above: unsure with the reason "glare"
  bool keep_repeats = false;           ///< do not drop near-repeats
  int cover = 0;                 ///< mark the fewest frames that see the ground so many times; 0: do not
  double cover_share = 1;        ///< of the ground that these must see
  std::string collect = "none";  ///< "copy", "hardlink" or "symlink" the kept frames into OUT/kept
};
void describe(Options&, OptionVisitor&);

/// Log-odds that a frame shows the horizon, in the order of the record; empty where nothing was asked.
using CoarseHorizons = std::vector<std::optional<double>>;

/// Evidence (Sharpness::detail) below which a frame does not tell.
inline constexpr double kLeastDetail = 0.25;

/// Bump when `measure` changes its answers: cached results of older versions are then ignored.
inline constexpr const char* kMeasureVersion = "cull/12";

/// Blur, exposure and thumbnail of one frame; needs nothing of other frames and no options, so that no option
/// of culling makes frames be measured anew. `overview`, when given, receives the reduced picture (CV_8UC3,
/// BGR) that was looked at. Throws FrameFault when the frame cannot be decoded.
Sharpness measure(FramePixels&, cv::Mat* overview = nullptr);

/// View, near-repeats and verdicts of the whole flight, from what the frames' records hold (sharpness,
/// horizon, tilt, glare); fills `decision` of each frame that has no fault. `coarse_horizons` may hold, for
/// each frame, the log-odds that a glance saw the horizon in it; they count where the horizon was not looked
/// for.
void decide(FlightRecord&, const Options&, const CoarseHorizons& coarse_horizons = {});

/// Second pass after placement: overlapping frames of the same ground settle what the first left open.
void settle_by_overlap(FlightRecord&, const Options&, RunContext&);

}  // namespace lookdown::cull
