#include "stages/cull/strangers.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <map>
#include <opencv2/core.hpp>
#include <string>

#include "pipeline/base/robust_statistics.h"
#include "stages/cull/duplicates/thumbnail.h"

namespace lookdown::cull {
namespace {

// With fewer frames the spread of what a flight shows is not known.
constexpr std::size_t kLeastCompared = 10, kNeighbour = 3;
constexpr const char* kUnlikeWord = "unlike the other frames";
// Placed frames that make a flight of it, and what of it a part must be to be one: two frames of the same
// grass overlap, too.
constexpr std::size_t kLeastAnchors = 6;
constexpr double kLeastAnchorShare = 2.0 / 3, kLeastPartShare = 0.1;
constexpr int kLeastPart = 3;

/// Mean and logarithm of the spread of three channels, logarithm of the mean step between neighbours of the
/// first.
using Look = std::array<double, 7>;

double mean_step(const cv::Mat& plane) {
  cv::Mat across, down;
  cv::absdiff(plane.colRange(1, plane.cols), plane.colRange(0, plane.cols - 1), across);
  cv::absdiff(plane.rowRange(1, plane.rows), plane.rowRange(0, plane.rows - 1), down);
  return 0.5 * (cv::mean(across)[0] + cv::mean(down)[0]);
}

Look look_of(const Thumbnail& picture) {
  Look look{};
  std::size_t at = 0;
  for (const cv::Mat* plane : {&picture.luminance, &picture.red_green, &picture.blue_yellow}) {
    cv::Scalar mean, spread;
    cv::meanStdDev(*plane, mean, spread);
    look[at++] = mean[0];
    look[at++] = std::log(spread[0] + 1);
  }
  look[at] = std::log(mean_step(picture.luminance) + 1);
  return look;
}

/// Robust spread of each number, with a floor that keeps what never changes from deciding.
Look scales_of(const std::vector<Look>& looks) {
  // Levels of 255 for means, logarithms for the rest: about a sixth of the spread within rendered flights.
  constexpr Look kFloor{2, 0.05, 0.3, 0.05, 0.4, 0.05, 0.03};
  Look scales{};
  for (std::size_t k = 0; k < scales.size(); ++k) {
    std::vector<double> values;
    values.reserve(looks.size());
    for (const Look& look : looks) values.push_back(look[k]);
    const double middle = median_in_place(values);
    for (double& v : values) v = std::abs(v - middle);
    scales[k] = kSigmaOfMad * median_in_place(values) + kFloor[k];
  }
  return scales;
}

double distance_to_neighbour(const std::vector<Look>& looks, std::size_t of, const Look& scales) {
  std::vector<double> distances;
  for (const Look& other : looks) {
    double sum = 0;
    for (std::size_t k = 0; k < scales.size(); ++k) sum += std::pow((other[k] - looks[of][k]) / scales[k], 2);
    distances.push_back(std::sqrt(sum));
  }
  std::nth_element(distances.begin(), distances.begin() + kNeighbour,
                   distances.end());  // the first is itself
  return distances[kNeighbour];
}

bool is_unlike(const Reason& reason) {
  return reason.word == kUnlikeWord;
}

void find_alike(FrameRecord& frame) {
  std::vector<Reason>& reasons = frame.decision.reasons;
  if (frame.decision.by_person || std::erase_if(reasons, is_unlike) == 0) return;
  if (frame.decision.view == View::other) frame.decision.view = View::nadir;
  frame.decision.verdict = Verdict::keep;
  for (const Reason& reason : reasons)
    frame.decision.verdict = std::max(frame.decision.verdict, reason.asks_for);
}

bool looks_down(const FrameRecord& frame) {
  return !frame.fault && frame.sharpness && frame.decision.view == View::nadir;
}

/// A frame that placing would have tied, had it shown what others show.
bool ought_to_hang(const FrameRecord& frame) {
  const std::string& why_not = frame.placement.why_not;
  return looks_down(frame) && !frame.decision.by_person && frame.decision.verdict != Verdict::drop &&
         (frame.placement.placed || why_not == "no overlap found" || why_not == "inconsistent" ||
          why_not == "too little detail");
}

/// Placed in a part that is large enough to be (a part of) the flight.
std::vector<char> anchors_of(const FlightRecord& flight) {
  std::map<int, int> size;
  int placed = 0;
  for (const FrameRecord& frame : flight.frames)
    if (frame.placement.placed) ++placed, ++size[frame.placement.group];
  std::vector<char> anchors;
  anchors.reserve(flight.frames.size());
  for (const FrameRecord& frame : flight.frames)
    anchors.push_back(frame.placement.placed &&
                      size[frame.placement.group] >= std::max<double>(kLeastPart, kLeastPartShare * placed));
  return anchors;
}

/// Tied to each other or to a third frame.
bool close_together(const FlightRecord& flight, std::size_t a, std::size_t b) {
  const std::vector<int>&of_a = flight.frames[a].placement.neighbours,
        &of_b = flight.frames[b].placement.neighbours;
  const auto among = [](const std::vector<int>& all, int i) {
    return std::find(all.begin(), all.end(), i) != all.end();
  };
  return among(of_a, static_cast<int>(b)) ||
         std::any_of(of_a.begin(), of_a.end(), [&](int third) { return among(of_b, third); });
}

void mark_stranger(FrameRecord& frame) {
  frame.decision.view = View::other;
  frame.decision.verdict = std::max(frame.decision.verdict, Verdict::unsure);
  frame.decision.reasons.push_back(
      {"shows nothing that the frames about it show", std::nullopt, std::nullopt, "", Verdict::unsure});
}

}  // namespace

Reason unlike_the_others(double unlikeness) {
  return {kUnlikeWord, unlikeness, kUnlike, "times as far from its like as others", Verdict::unsure};
}

std::vector<std::optional<double>> unlikeness(const std::vector<FrameRecord>& frames,
                                              const std::vector<char>& compared) {
  std::vector<std::optional<double>> out(frames.size());
  std::vector<Look> looks;
  std::vector<std::size_t> whose;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (!compared[i] || !frames[i].sharpness) continue;
    const auto picture = read_thumbnail(frames[i].sharpness->signature);
    if (!picture) continue;
    looks.push_back(look_of(*picture));
    whose.push_back(i);
  }
  if (looks.size() < kLeastCompared) return out;
  const Look scales = scales_of(looks);
  std::vector<double> distances;
  for (std::size_t i = 0; i < looks.size(); ++i) distances.push_back(distance_to_neighbour(looks, i, scales));
  std::vector<double> sorted = distances;
  const double middle = std::max(1e-9, median_in_place(sorted));
  for (std::size_t i = 0; i < whose.size(); ++i) out[whose[i]] = distances[i] / middle;
  return out;
}

void settle_strangers(FlightRecord& flight) {
  const std::vector<char> anchors = anchors_of(flight);
  for (std::size_t i = 0; i < flight.frames.size(); ++i)
    // Placing may have found that one looks at the horizon: no wonder that it is unlike those that look down.
    if (anchors[i] || flight.frames[i].decision.view == View::horizon) find_alike(flight.frames[i]);
  std::size_t could_hang = 0, hang = 0;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    could_hang += ought_to_hang(flight.frames[i]);
    hang += ought_to_hang(flight.frames[i]) && anchors[i];
  }
  if (hang < kLeastAnchors || static_cast<double>(hang) < kLeastAnchorShare * static_cast<double>(could_hang))
    return;
  std::vector<std::size_t> strangers;
  std::optional<std::size_t> before;  // the last anchor so far
  const auto settle = [&](std::optional<std::size_t> after) {
    if (!before || !after || close_together(flight, *before, *after))
      for (const std::size_t i : strangers) mark_stranger(flight.frames[i]);
    strangers.clear();
  };
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    if (anchors[i]) {
      settle(i);
      before = i;
    } else if (ought_to_hang(flight.frames[i])) {
      strangers.push_back(i);
    }
  }
  settle(std::nullopt);
}

}  // namespace lookdown::cull
