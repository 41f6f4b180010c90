// level: how a frame hung. Common rules: lines are fitted in undistorted pixels; roll is of the frame as
// displayed, clockwise positive (a levelled copy is turned back by it); pitch is the optical axis above (+)
// or below (-) the horizontal; no answer is better than a wrong one.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"
#include "pipeline/base/result.h"
#include "pipeline/imaging/frame_reader.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace cv {
class Mat;
}

namespace lookdown::level {

struct Options {
  std::optional<double> height_m;  ///< camera above the water or ground, for the dip of the horizon
};
void describe(Options&, OptionVisitor&);

inline constexpr const char* kFindVersion = "level/10";

struct Finding {
  std::optional<Horizon> horizon;
  std::vector<Tilt> tilts;  ///< one a source that claims to know
};

/// Horizon and single-frame tilt cues of one frame.
Finding find(FramePixels&, const FrameInfo&, const Options&);

/// Log-odds that a picture, much reduced (CV_8UC3, BGR; some 500 pixels are plenty), shows the horizon:
/// the regions on either side of a rough cut alone, for a first idea of what a frame looks at. `find` looks
/// for the edge too, errs less and places it. The camera is that of the reduced picture.
[[nodiscard]] double coarse_horizon_log_odds(const cv::Mat& bgr, const Camera&, int orientation);

/// Combines tilt sources by uncertainty into FrameRecord::tilt (placement's included when the frame is
/// placed), narrowed by where the frame's water mirrors the sun; that and how the other frames hang give one
/// to frames without sources.
void combine_tilts(FlightRecord&);

struct CopyOptions {
  bool upright = false;  ///< re-project to an upright view instead of turning only
  std::string fill =
      "crop";  ///< "crop" = largest clean rectangle, "transparent" = whole frame on a clear canvas (PNG)
  std::optional<double> aspect;  ///< width / height of the crop; empty: as the frame is displayed
  int quality = 95;              ///< JPEG quality
  std::string bits = "8";        ///< a sample: "8", or "16" where the frame has more than 8
};
void describe(CopyOptions&, OptionVisitor&);

/// Writes the levelled copy of a frame with a known horizon (or tilt, with `upright`) below `folder`; returns
/// its path.
Result<std::filesystem::path> write_levelled(const FrameRecord&, const std::filesystem::path& folder,
                                             const CopyOptions&, const FrameReader&);

}  // namespace lookdown::level
