#include "stages/cull/view.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/core.hpp>
#include <optional>

#include "stages/cull/duplicates/thumbnail.h"

namespace lookdown::cull {
namespace {

// Common practice speaks of "near vertical" up to about 3 degrees for surveys; a swinging kite camera is
// granted more. At 20 degrees the far side of a frame 60 degrees across lies cos(10) / cos(50) = 1.5 times as
// far as the near side, so that two thirds of the resolution are left there.
constexpr double kNadirLimitDeg = 20;
constexpr std::size_t kFramesToCompare = 8;
// Of CIELAB as the thumbnail holds it, levels of 255. Day skies of photographs, clear or with broken clouds,
// are bluer than 14 (13 of 13 parts) and hold nothing yellow; lake shores and rendered ground reach 8 (of
// 214). Water as blue as that is green beside it.
constexpr double kSkyBlue = 12, kGreenestSky = -4, kYellow = 4, kMostYellowShare = 0.03;
constexpr double kOvercast = -1.5;    // of b* toward blue
constexpr double kEvenGround = 7;     // levels of 255
constexpr double kEvenShare = 0.4;    // of what the middle frame of the flight shows
constexpr double kDarkLevel = 0.004;  // of full scale in linear light: about 10 of 255 in an 8-bit picture

bool lens_covered(const Sharpness& s) {
  return s.mean_level < kDarkLevel;
}

double blueness(const Thumbnail& picture) {
  return 128 - cv::mean(picture.blue_yellow)[0];
}

/// Even, bright and nothing to measure.
bool blank_and_bright(const Sharpness& s, const Thumbnail& picture) {
  cv::Scalar mean, deviation;
  cv::meanStdDev(picture.luminance, mean, deviation);
  return s.detail < 0.1 && mean[0] > 130 && deviation[0] < 12;
}

/// Standard deviation of the luminance of the small picture, levels of 255, after a curved surface (fall-off
/// toward the corners, shading) is taken out. Grass or gravel from the height of a person is even; ponds,
/// paths and roofs are not.
double large_structure(const Thumbnail& picture) {
  const cv::Mat& luminance = picture.luminance;
  cv::Mat surface(static_cast<int>(luminance.total()), 6, CV_32F), values(surface.rows, 1, CV_32F);
  for (int y = 0, at = 0; y < luminance.rows; ++y)
    for (int x = 0; x < luminance.cols; ++x, ++at) {
      const float u = (x + 0.5F) / luminance.cols - 0.5F, v = (y + 0.5F) / luminance.rows - 0.5F;
      const float row[6] = {1, u, v, u * u, v * v, u * v};
      std::copy(row, row + 6, surface.ptr<float>(at));
      values.at<float>(at) = luminance.at<float>(y, x);
    }
  cv::Mat fitted;
  cv::solve(surface, values, fitted, cv::DECOMP_NORMAL | cv::DECOMP_CHOLESKY);
  return cv::norm(values - surface * fitted) / std::sqrt(static_cast<double>(values.rows));
}

/// Blue all over as the day sky is, whatever clouds stand in it.
bool all_blue(const Thumbnail& picture) {
  const double yellow_share = cv::countNonZero(picture.blue_yellow > 128 + kYellow) /
                              static_cast<double>(picture.blue_yellow.total());
  return blueness(picture) > kSkyBlue && yellow_share < kMostYellowShare &&
         cv::mean(picture.red_green)[0] - 128 > kGreenestSky;
}

ViewFinding view_of(const FrameRecord& frame, std::optional<double> coarse_horizon_log_odds) {
  ViewFinding out;
  if (!frame.sharpness) return {View::other, {}};
  if (lens_covered(*frame.sharpness))
    return {View::other, {{"dark", frame.sharpness->mean_level, kDarkLevel, "of full scale", Verdict::drop}}};
  if (frame.horizon) {
    out.view = View::horizon;
    out.reasons.push_back({"horizon in the frame", frame.horizon->pitch_deg, std::nullopt, "deg pitch"});
    return out;
  }
  if (!frame.horizon_looked_for && coarse_horizon_log_odds.value_or(0) > 0)
    return {View::horizon, {{"horizon seen at a glance", coarse_horizon_log_odds, 0, "log-odds"}}};
  if (frame.tilt && frame.tilt->off_nadir_deg - frame.tilt->sigma_deg > kNadirLimitDeg) {
    out.view = View::oblique;
    out.reasons.push_back({"oblique", frame.tilt->off_nadir_deg, kNadirLimitDeg, "deg"});
    return out;
  }
  if (const auto picture = read_thumbnail(frame.sharpness->signature)) {
    const bool blank = blank_and_bright(*frame.sharpness, *picture);
    if (blank && blueness(*picture) > 2)
      return {View::other, {{"only sky", std::nullopt, std::nullopt, "", Verdict::drop}}};
    if (all_blue(*picture))
      return {View::other, {{"blue all over as the sky", std::nullopt, std::nullopt, "", Verdict::unsure}}};
    if (blank && blueness(*picture) > kOvercast)
      return {View::other, {{"even and bright as clouds", std::nullopt, std::nullopt, "", Verdict::unsure}}};
  }
  return out;
}

/// The first and last frames of a flight, as long as they show much detail and none that is large, beside a
/// flight that has large things to show: the camera was still, or again, near the ground.
void mark_launch_and_landing(const std::vector<FrameRecord>& frames, std::vector<ViewFinding>& views) {
  std::vector<std::optional<double>> structure(frames.size());
  std::vector<double> known;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (views[i].view != View::nadir || !frames[i].sharpness || frames[i].sharpness->detail < 1) continue;
    if (const auto picture = read_thumbnail(frames[i].sharpness->signature))
      known.push_back(*(structure[i] = large_structure(*picture)));
  }
  if (known.size() < kFramesToCompare) return;
  const auto middle = known.begin() + static_cast<std::ptrdiff_t>(known.size() / 2);
  std::nth_element(known.begin(), middle, known.end());
  const double limit = std::min(kEvenGround, kEvenShare * *middle);
  std::vector<std::size_t> order(frames.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  if (std::all_of(frames.begin(), frames.end(),
                  [](const FrameRecord& f) { return f.info.taken_at_s.has_value(); }))
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
      return *frames[a].info.taken_at_s < *frames[b].info.taken_at_s;
    });
  const auto mark_run = [&](auto first, auto last) {
    for (; first != last && structure[*first] && *structure[*first] < limit; ++first)
      views[*first] = {
          View::other,
          {{"near the ground", structure[*first], limit, "levels of large structure", Verdict::unsure}}};
  };
  mark_run(order.begin(), order.end());
  mark_run(order.rbegin(), order.rend());
}

}  // namespace

std::vector<ViewFinding> find_views(const std::vector<FrameRecord>& frames,
                                    const CoarseHorizons& coarse_horizons) {
  std::vector<ViewFinding> views;
  views.reserve(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i)
    views.push_back(view_of(frames[i], i < coarse_horizons.size() ? coarse_horizons[i] : std::nullopt));
  mark_launch_and_landing(frames, views);
  return views;
}

}  // namespace lookdown::cull
