#include "stages/place/image_selection.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "pipeline/base/angles.h"
#include "stages/place/horizon_views.h"

namespace lookdown::place {
namespace {

/// Beyond this share of the frame's width a blurred frame shows nothing that a sharp one shows too.
constexpr double kUselessBlurShare = 0.02;
constexpr double kAssumedFocalSigma = 0.25;
constexpr double kUnstatedFocalSigma = 0.05;
constexpr double kLeastFocalSigma = 0.001;

double blur_of(const FrameRecord& frame) {
  if (!frame.sharpness) return 0;
  return std::max(frame.sharpness->blur_fwhm_px.value_or(0), frame.sharpness->smear_px.value_or(0));
}

bool dropped_for_blur(const Decision& decision) {
  return std::any_of(decision.reasons.begin(), decision.reasons.end(),
                     [](const Reason& r) { return r.word == "blurred" || r.word == "smeared"; });
}

/// Empty when the frame takes part.
std::string why_left_out(const FrameRecord& frame) {
  if (frame.fault) return "cannot be read";
  const Decision& decision = frame.decision;
  if (decision.by_person && decision.verdict == Verdict::drop) return "dropped by choice";
  if (decision.view == View::other && decision.verdict == Verdict::drop && !dropped_for_blur_alone(decision))
    return "does not show the ground from above";
  if (frame.info.camera.fx_px <= 0) return "no focal length";
  if (decision.verdict == Verdict::drop && dropped_for_blur(decision) &&
      blur_of(frame) > kUselessBlurShare * frame.source.width_px)
    return "too blurred";
  return {};
}

KnownCamera known_camera(const Camera& camera) {
  KnownCamera known;
  known.prior = camera;
  const double stated = camera.focal_sigma_share > 0 ? camera.focal_sigma_share : kUnstatedFocalSigma;
  known.focal_sigma_share =
      camera.focal_from == "assumed" ? kAssumedFocalSigma : std::max(stated, kLeastFocalSigma);
  if (camera.focal_from == "calibration file") {
    known.principal_point_sigma_share = 0.002;
    known.k1_sigma = 0.01;
    known.k2_sigma = 0.01;
  }
  return known;
}

}  // namespace

Participants choose_participants(FlightRecord& flight) {
  Participants chosen;
  std::map<std::string, int> camera_index;
  const bool trust_horizons = flight_of_horizons(flight);
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    FrameRecord& record = flight.frames[i];
    record.placement = {};
    record.placement.why_not = why_left_out(record);
    if (!record.placement.why_not.empty()) continue;
    TieFrame frame;
    frame.record = int(i);
    frame.camera = record.info.camera;
    frame.blur_px = blur_of(record);
    frame.bridge_only = record.decision.verdict == Verdict::drop && dropped_for_blur(record.decision);
    const std::string kind = fmt::format("{} {}x{} {:.1f}", record.info.camera_id, frame.camera.width_px,
                                         frame.camera.height_px, frame.camera.fx_px);
    const auto [entry, added] = camera_index.emplace(kind, int(chosen.cameras.size()));
    if (added) chosen.cameras.push_back(known_camera(frame.camera));
    chosen.camera_of_frame.push_back(entry->second);
    TiltKnowledge tilt;
    // Elsewhere a horizon is held against the placement, so it must not lead it.
    const bool trusted = record.tilt && (record.tilt->from != "horizon" || trust_horizons);
    if (trusted && record.tilt->from != "placement") {
      const auto& d = record.tilt->down_in_camera;
      tilt.down_in_camera = Eigen::Vector3d(d[0], d[1], d[2]).normalized();
      tilt.sigma_rad = std::max(0.5, record.tilt->sigma_deg) * kDegree;
    }
    chosen.tilts.push_back(tilt);
    chosen.frames.push_back(std::move(frame));
  }
  return chosen;
}

}  // namespace lookdown::place
