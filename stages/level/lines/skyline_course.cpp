#include "stages/level/lines/skyline_course.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "stages/level/lines/edge_profiles.h"
#include "stages/level/lines/offset_slope.h"
#include "stages/level/lines/skyline.h"

namespace lookdown::level {
namespace {

/// Shares of the long side above and below the line, about a factor of 1.4 apart: from close by, where clouds
/// stay out, to where a high ridge still has sky above it.
constexpr std::array kReaches{0.05, 0.07, 0.1, 0.14};
/// Each time about the line before: what counts as sky and as ground is told from beside it.
constexpr int kTimes = 3;
constexpr std::size_t kFewestPoints = 12;
/// Below it misses count alike, so that no point is hit for its own sake.
constexpr double kLeastMissPx = 0.5;

/// Line of least absolute deviations by re-weighted least squares (Schlossmacher, J. Am. Stat. Assoc. 68:857,
/// 1973).
OffsetSlope least_absolute_fit(const std::vector<EdgeResponse>& points) {
  constexpr int kRounds = 60;
  const auto weight = [](double miss_px) { return 1 / std::max(kLeastMissPx, std::abs(miss_px)); };
  OffsetSlope course;
  for (int round = 0; round < kRounds; ++round) {
    const auto next = weighted_fit(points, course, weight);
    if (!next) break;
    course = *next;
  }
  return course;
}

std::optional<Eigen::Vector3d> course_within(double reach_px, const cv::Mat3b& blurred, const Camera& camera,
                                             Eigen::Vector3d line) {
  for (int time = 0; time < kTimes; ++time) {
    const LineFrame frame = line_frame(line, blurred.size());
    const auto points = skyline(sample_profiles(blurred, camera, frame, std::max(12.0, reach_px)));
    if (points.size() < kFewestPoints) return std::nullopt;
    line = line_of(frame, least_absolute_fit(points));
  }
  return line;
}

double middle_of(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return 0.5 * (values[(values.size() - 1) / 2] + values[values.size() / 2]);
}

double spread_of(const std::vector<double>& values, double about) {
  double square = 0;
  for (const double v : values) square += (v - about) * (v - about) / double(values.size());
  return std::sqrt(square);
}

}  // namespace

std::optional<SkylineCourse> skyline_course(const cv::Mat3b& blurred, const Camera& camera,
                                            const Eigen::Vector3d& line) {
  const Eigen::Vector3d middle(0.5 * blurred.cols, 0.5 * blurred.rows, 1);
  // Against `line`, which is one way of looking at the skyline itself: where things stand before it, the line
  // that most points agree on has its say.
  std::vector<double> turns{0}, rises{0};
  for (const double reach : kReaches)
    if (const auto there =
            course_within(reach * std::max(blurred.cols, blurred.rows), blurred, camera, line)) {
      turns.push_back(
          std::atan2(line.x() * there->y() - line.y() * there->x(), line.head<2>().dot(there->head<2>())));
      rises.push_back(line.dot(middle) - there->dot(middle));
    }
  if (turns.size() == 1) return std::nullopt;
  const double turn = middle_of(turns), rise = middle_of(rises);
  SkylineCourse course;
  const double nx = std::cos(turn) * line.x() - std::sin(turn) * line.y();
  const double ny = std::sin(turn) * line.x() + std::cos(turn) * line.y();
  course.line = {nx, ny, line.dot(middle) - rise - nx * middle.x() - ny * middle.y()};
  course.roll_spread_rad = spread_of(turns, turn);
  course.across_spread_px = spread_of(rises, rise);
  return course;
}

}  // namespace lookdown::level
