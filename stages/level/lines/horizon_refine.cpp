#include "stages/level/lines/horizon_refine.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "pipeline/base/robust_statistics.h"
#include "stages/level/lines/edge_profiles.h"
#include "stages/level/lines/offset_slope.h"
#include "stages/level/lines/skyline.h"
#include "stages/level/lines/straight_line.h"

namespace lookdown::level {
namespace {

constexpr int kFewestProfiles = 12;
constexpr double kStraightShare = 0.8;  // of the profiles on one line: below it the skyline is hilly

constexpr double kSteepest = 0.5;        // against the first line
constexpr double kSamePlace = 2;         // pixels between lines that are the same
constexpr double kWideSkyline = 0.16;    // of the long side: looks past a strip of far land
constexpr double kNarrowSkyline = 0.08;  // keeps to the line where the sky itself changes
constexpr double kSharpWindow = 3;       // pixels a side that the edge at a line is seen with
constexpr double kLeastLasting = 0.3;    // of the step at a line that must go on beyond it
constexpr double kBlurredWindow = 9;     // the same in a blurred frame

// A ridge behind another, shares of the long side: how high above it, and how far off its own edge.
constexpr double kHighestBehind = 0.12, kClearOfRidge = 0.012;
constexpr double kRidgeWindow = 4;                        // pixels a side that its edge is seen with
constexpr double kLeastRidgeStep = 2, kRidgeOverSky = 2;  // grey levels; of the sky's own steps
// Of the profiles: not hidden by the nearer ridge; of these, on the line. On drawn frames the second is above
// 0.9 for a ridge and below 0.2 for a sky without one.
constexpr double kLeastOpen = 0.3, kLeastOfBehind = 0.6;

/// How far from a line its own edge is looked for.
double edge_reach_px(double long_side, double window) {
  return std::max(3 * window, 0.006 * long_side);
}

/// Notes a line unless one with the same course to within `apart_px` is known: neighbouring cuts lead to the
/// same edges.
bool take_if_new(const Eigen::Vector3d& line, std::vector<Eigen::Vector3d>& known, const cv::Size& size,
                 double apart_px) {
  const Eigen::Vector3d middle(0.5 * size.width, 0.5 * size.height, 1);
  const double half = 0.5 * std::max(size.width, size.height);
  const bool is_new = std::none_of(known.begin(), known.end(), [&](const Eigen::Vector3d& other) {
    return (line - other).head<2>().norm() * half < apart_px &&
           std::abs(line.dot(middle) - other.dot(middle)) < apart_px;
  });
  if (is_new) known.push_back(line);
  return is_new;
}

/// How near a profile's edge must come to a first line to agree with it.
double agreement_px(const cv::Size& size) {
  return std::max(3.0, 0.008 * std::max(size.width, size.height));
}

/// Steps that go the way the edge goes as a whole.
std::vector<EdgeResponse> rising(std::vector<EdgeResponse> steps) {
  std::erase_if(steps, [](const EdgeResponse& step) { return step.height <= 0; });
  return steps;
}

/// Uncertainty from the residuals, whose neighbours go together (tree tops, hills): fewer independent points
/// than profiles.
void state_uncertainty(const std::vector<EdgeResponse>& steps, const OffsetSlope& course, double tolerance,
                       RefinedLine& result) {
  std::vector<double> residual, along;
  for (const EdgeResponse& s : steps) {
    const double r = s.across_px - course.at(s.along_px);
    if (std::abs(r) > tolerance) continue;
    residual.push_back(r);
    along.push_back(s.along_px);
  }
  const double n = static_cast<double>(residual.size());
  if (n < 3) return;
  double square = 0, lagged = 0, mean_along = 0, spread = 0;
  for (double a : along) mean_along += a / n;
  for (std::size_t i = 0; i < residual.size(); ++i) {
    square += residual[i] * residual[i];
    if (i > 0) lagged += residual[i] * residual[i - 1];
    spread += (along[i] - mean_along) * (along[i] - mean_along);
  }
  const double correlation = square > 0 ? std::clamp(lagged / square, 0.0, 0.97) : 0;
  const double independent = std::max(2.0, n * (1 - correlation) / (1 + correlation));
  const double scatter = std::sqrt(square / n);
  result.scatter_px = scatter;
  result.angle_sigma_rad = std::sqrt(scatter * scatter / independent / (spread / n) + 1e-8);
  result.offset_sigma_px = std::sqrt(scatter * scatter / independent + 0.01);
  // Waviness: means over windows of an eighth of the profiles.
  const std::size_t window = std::max<std::size_t>(3, residual.size() / 8);
  double wave = 0;
  int windows = 0;
  for (std::size_t first = 0; first + window <= residual.size(); first += window, ++windows) {
    double mean = 0;
    for (std::size_t i = first; i < first + window; ++i) mean += residual[i] / static_cast<double>(window);
    wave += mean * mean;
  }
  result.waviness_px = windows > 0 ? std::sqrt(wave / windows) : 0;
}

LineSupport support_of(const EdgeResponses& responses, const std::vector<EdgeResponse>& steps,
                       const OffsetSlope& course, double tolerance) {
  LineSupport support;
  std::vector<double> heights, misses;
  int same_sign = 0;
  for (const EdgeResponse& s : steps) {
    const double miss = std::abs(s.across_px - course.at(s.along_px));
    if (miss > tolerance) continue;
    misses.push_back(miss);
    heights.push_back(std::abs(s.height));
    same_sign += s.height > 0;
  }
  if (responses.profiles == 0 || misses.empty()) return support;
  support.inlier_share = static_cast<double>(misses.size()) / responses.profiles;
  support.same_sign_share = static_cast<double>(same_sign) / static_cast<double>(misses.size());
  support.step_to_noise = median_in_place(heights) / (responses.sky_noise + 0.5);
  return support;
}

/// What the edge right at the line is like: how straight, how steady.
void describe_edge(const cv::Mat3b& blurred, const Camera& camera, RefinedLine& result) {
  const double long_side = std::max(blurred.cols, blurred.rows);
  const Profiles near = sample_profiles(blurred, camera, line_frame(result.line, blurred.size()),
                                        edge_reach_px(long_side, kSharpWindow));
  if (static_cast<int>(near.all.size()) < kFewestProfiles) return;
  const CoherentLine edge = coherence_along(near, {}, kSharpWindow);
  result.support.coherence = edge.coherence;
  const EdgeResponses responses = edge_responses(near, kSharpWindow, edge.direction);
  const double tolerance = std::max(1.5, 0.0012 * long_side);
  const auto on_line = nearest_responses(rising(responses.steps), {}, tolerance);
  result.support.fine_share = static_cast<double>(on_line.size()) / responses.profiles;
}

/// Fills in what speaks for a line whose course is final.
void describe_surroundings(const cv::Mat3b& blurred, const Camera& camera, RefinedLine& result) {
  const double long_side = std::max(blurred.cols, blurred.rows);
  const Profiles about = sample_profiles(blurred, camera, line_frame(result.line, blurred.size()),
                                         0.16 * long_side, kMostProfiles / 3);
  result.support.profile = profile_terms(about);
  describe_edge(blurred, camera, result);
}

/// Moves a line, along whose whole length the same edge runs, to where that edge truly is.
void place_at_edge(const cv::Mat3b& blurred, const Camera& camera, double window, Eigen::Vector3d& line) {
  const double long_side = std::max(blurred.cols, blurred.rows);
  const Profiles profiles =
      sample_profiles(blurred, camera, line_frame(line, blurred.size()), edge_reach_px(long_side, window));
  if (static_cast<int>(profiles.all.size()) < kFewestProfiles) return;
  const Eigen::Vector3f direction = coherence_along(profiles, {}, window).direction;
  line.z() -= edge_offset_px(profiles, direction, window + 1);
}

/// Fits a coherent edge to the places where each profile steps its way.
std::optional<RefinedLine> refine_coherent(const cv::Mat3b& blurred, const Camera& camera,
                                           const Eigen::Vector3d& first, double window) {
  const double long_side = std::max(blurred.cols, blurred.rows);
  RefinedLine result;
  result.line = first;
  std::vector<EdgeResponse> on_line;
  OffsetSlope course;
  double lasting = 0;
  for (const double reach : {window + 2, window}) {
    const LineFrame frame = line_frame(result.line, blurred.size());
    const Profiles near = sample_profiles(blurred, camera, frame, edge_reach_px(long_side, window));
    if (static_cast<int>(near.all.size()) < kFewestProfiles) return std::nullopt;
    const CoherentLine edge = coherence_along(near, {}, window);
    on_line =
        nearest_responses(rising(edge_responses(near, window, edge.direction).steps), edge.course, reach);
    if (static_cast<int>(on_line.size()) < kFewestProfiles) return std::nullopt;
    course = robust_fit(on_line, edge.course, 0.25);
    result.line = line_of(frame, course);
    lasting = lasting_share(near, edge.direction, window);
  }
  if (lasting < kLeastLasting) return std::nullopt;  // a cable
  place_at_edge(blurred, camera, window, result.line);
  state_uncertainty(on_line, course, window, result);
  // How far the skyline as a whole keeps to it is asked as for any other line.
  const LineFrame frame = line_frame(result.line, blurred.size());
  const Profiles profiles = sample_profiles(blurred, camera, frame, std::max(12.0, 0.04 * long_side));
  const EdgeResponses wide = edge_responses(profiles, 3);
  const EdgeResponses found{static_cast<int>(profiles.all.size()), skyline(profiles), wide.sky_noise};
  result.support = support_of(found, found.steps, {}, std::max(2.0, 0.006 * long_side));
  result.support.scatter_share = 100 * result.scatter_px / long_side;
  describe_surroundings(blurred, camera, result);
  return result;
}

/// The strongest straight edge near a cut.
struct StrongEdge {
  Eigen::Vector3d line;
  double sky_noise = 0;
};
std::optional<StrongEdge> strongest_edge(const cv::Mat3b& blurred, const Camera& camera,
                                         const Eigen::Vector3d& first, double reach_px) {
  const LineFrame frame = line_frame(first, blurred.size());
  const Profiles wide = sample_profiles(blurred, camera, frame, reach_px);
  if (static_cast<int>(wide.all.size()) < kFewestProfiles) return std::nullopt;
  const EdgeResponses responses = edge_responses(wide, std::max(3.0, reach_px / 6));
  const double agree = agreement_px(blurred.size());
  OffsetSlope course = most_agreed(responses, frame.last - frame.first, agree);
  course = robust_fit(nearest_responses(responses.steps, course, 2 * agree), course, 0.25);
  if (std::abs(course.slope) > kSteepest) return std::nullopt;
  return StrongEdge{line_of(frame, course), responses.sky_noise};
}

/// The skyline about an edge, which may be the near edge of a hazy strip of land; from closer by each time.
std::optional<RefinedLine> skyline_about(const cv::Mat3b& blurred, const Camera& camera,
                                         const StrongEdge& edge, double reach_share) {
  const double long_side = std::max(blurred.cols, blurred.rows), agree = agreement_px(blurred.size());
  RefinedLine result;
  result.line = edge.line;
  for (double share = reach_share; share > 0.03; share *= 0.5) {
    const LineFrame frame = line_frame(result.line, blurred.size());
    const Profiles profiles = sample_profiles(blurred, camera, frame, std::max(12.0, share * long_side));
    if (static_cast<int>(profiles.all.size()) < kFewestProfiles) return std::nullopt;
    const auto points = skyline(profiles);
    if (static_cast<int>(points.size()) < kFewestProfiles) continue;
    const EdgeResponses found{static_cast<int>(profiles.all.size()), points, edge.sky_noise};
    OffsetSlope course = robust_fit(points, most_agreed(found, frame.last - frame.first, agree), 0.25);
    // A skyline of hills has no straight piece that is more right than the rest: all of it is averaged.
    if (support_of(found, points, course, agree).inlier_share < kStraightShare)
      course = robust_fit(points, course, 0.014 * long_side);
    if (std::abs(course.slope) > kSteepest) return std::nullopt;
    const double tolerance = std::max(2.0, 0.006 * long_side);
    result.support = support_of(found, points, course, tolerance);
    state_uncertainty(points, course, tolerance, result);
    result.support.scatter_share = 100 * result.scatter_px / long_side;
    result.line = line_of(frame, course);
  }
  return result;
}

}  // namespace

std::optional<RefinedLine> refine_behind(const cv::Mat3b& blurred, const Camera& camera,
                                         const Eigen::Vector3d& ridge) {
  const double long_side = std::max(blurred.cols, blurred.rows);
  const double reach = 0.5 * kHighestBehind * long_side, agree = agreement_px(blurred.size());
  const Profiles both = sample_profiles(blurred, camera, line_frame(ridge, blurred.size()), 2 * reach);
  Eigen::Vector3d raised = ridge;
  raised.z() -= reach;
  const LineFrame frame = line_frame(raised, blurred.size());
  const Profiles above = sample_profiles(blurred, camera, frame, reach);
  if (static_cast<int>(std::min(both.all.size(), above.all.size())) < kFewestProfiles) return std::nullopt;
  const double clear = kClearOfRidge * long_side - reach;
  EdgeResponses behind = edge_responses(above, kRidgeWindow, fisher_direction(both));
  const double least = std::max(kLeastRidgeStep, kRidgeOverSky * behind.sky_noise);
  std::erase_if(behind.steps,
                [&](const EdgeResponse& step) { return step.height < least || step.across_px < clear; });
  OffsetSlope course = most_agreed(behind, frame.last - frame.first, agree);
  course = robust_fit(nearest_responses(behind.steps, course, 2 * agree), course, 0.5 * agree);
  const auto is_hidden = [&](double along_px) { return course.at(along_px) < clear; };
  std::vector<EdgeResponse> points = nearest_responses(behind.steps, course, 2 * agree);
  std::erase_if(points, [&](const EdgeResponse& step) { return is_hidden(step.along_px); });
  const auto open = std::count_if(above.all.begin(), above.all.end(),
                                  [&](const Profile& profile) { return !is_hidden(profile.along_px); });
  RefinedLine result;
  const double tolerance = std::max(2.0, 0.006 * long_side);
  result.support = support_of({static_cast<int>(open), points, behind.sky_noise}, points, course, tolerance);
  if (open < kFewestProfiles || open < kLeastOpen * static_cast<double>(above.all.size()) ||
      result.support.inlier_share < kLeastOfBehind || std::abs(course.slope) > kSteepest)
    return std::nullopt;
  state_uncertainty(points, course, tolerance, result);
  result.support.scatter_share = 100 * result.scatter_px / long_side;
  result.line = line_of(frame, course);
  describe_surroundings(blurred, camera, result);
  return result;
}

std::vector<RefinedLine> refine_skyline(const cv::Mat3b& blurred, const Camera& camera,
                                        const std::vector<Eigen::Vector3d>& firsts, double reach_px) {
  std::vector<RefinedLine> lines;
  std::vector<Eigen::Vector3d> edges, courses;
  for (const Eigen::Vector3d& first : firsts) {
    const auto edge = strongest_edge(blurred, camera, first, reach_px);
    if (!edge || !take_if_new(edge->line, edges, blurred.size(), kSamePlace)) continue;
    for (const double share : {kWideSkyline, kNarrowSkyline}) {
      auto line = skyline_about(blurred, camera, *edge, share);
      if (!line || !take_if_new(line->line, courses, blurred.size(), 0.5 * kSamePlace)) continue;
      describe_surroundings(blurred, camera, *line);
      lines.push_back(*line);
    }
  }
  return lines;
}

std::vector<RefinedLine> refine_straight(const cv::Mat3b& blurred, const Camera& camera,
                                         const std::vector<Eigen::Vector3d>& firsts) {
  constexpr std::size_t most_a_strip = 3;
  constexpr double least_coherence = 0.15;
  const double long_side = std::max(blurred.cols, blurred.rows);
  std::vector<RefinedLine> lines;
  std::vector<Eigen::Vector3d> seen;
  for (const Eigen::Vector3d& first : firsts) {
    const LineFrame frame = line_frame(first, blurred.size());
    const Profiles strip = sample_profiles(blurred, camera, frame, std::max(12.0, 0.06 * long_side));
    for (const double window : {kSharpWindow, kBlurredWindow})
      for (const CoherentLine& edge : coherent_lines(strip, window, most_a_strip)) {
        const Eigen::Vector3d course = line_of(frame, edge.course);
        if (edge.coherence < least_coherence || !take_if_new(course, seen, blurred.size(), window)) continue;
        const auto line = refine_coherent(blurred, camera, course, window);
        // A straight piece of a hill's slope is no horizon.
        if (line && line->support.fine_share >= kStraightShare) lines.push_back(*line);
      }
  }
  return lines;
}

}  // namespace lookdown::level
