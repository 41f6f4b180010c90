#include "stages/level/lines/straight_line.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::level {
namespace {

constexpr int kGrouped = 3;  // neighbouring profiles averaged: noise falls, steep slopes still line up
constexpr double kMostSlope = 0.1;
constexpr double kClip = 3;          // a step of this many noise deviations has its full say
constexpr double kLeastNoise = 0.5;  // grey levels; 8-bit pictures know no less

/// Of the smoothing with one pixel that pictures have had here, of the pixels' own squares and of
/// interpolation between them.
constexpr double kBlurVariance_px2 = 1.0 + 1.0 / 12 + 1.0 / 6;

constexpr float kUnknown = std::numeric_limits<float>::quiet_NaN();

/// Clipped steps of one group of profiles in three colours; NaN where not known.
struct StepColumn {
  double along_px = 0;
  std::vector<Eigen::Vector3f> steps;
};

/// Mean colour of a few neighbouring profiles at each sample.
std::vector<Profile> grouped(const Profiles& profiles) {
  std::vector<Profile> groups;
  for (std::size_t first = 0; first + kGrouped <= profiles.all.size(); first += kGrouped) {
    Profile group = profiles.all[first + kGrouped / 2];
    for (std::size_t i = 0; i < group.colours.size(); ++i) {
      group.colours[i].setZero();
      for (std::size_t k = first; k < first + kGrouped; ++k)
        group.colours[i] += profiles.all[k].colours[i] / kGrouped;
    }
    groups.push_back(std::move(group));
  }
  return groups;
}

/// Mean above minus mean below each sample.
std::vector<Eigen::Vector3f> steps_of(const Profile& profile, int window) {
  const int n = static_cast<int>(profile.colours.size());
  std::vector<Eigen::Vector3f> steps(n, Eigen::Vector3f::Constant(kUnknown));
  for (int i = window; i + window < n; ++i) {
    Eigen::Vector3f step = Eigen::Vector3f::Zero();
    for (int j = 1; j <= window; ++j) step += profile.colours[i + j] - profile.colours[i - j];
    steps[i] = step / static_cast<float>(window);
  }
  return steps;
}

/// Leaves the steps at and right beside the places where a column steps most: a strong edge, seen with a wide
/// window, would else have its say for every line that runs near it.
void keep_peaks(std::vector<Eigen::Vector3f>& steps, int window) {
  const int n = static_cast<int>(steps.size());
  std::vector<float> size(n);
  for (int i = 0; i < n; ++i) size[i] = std::isnan(steps[i][0]) ? 0.F : steps[i].squaredNorm();
  std::vector<bool> kept(n, false);
  for (int i = 0; i < n; ++i) {
    const auto first = size.begin() + std::max(0, i - window),
               last = size.begin() + std::min(n, i + window + 1);
    if (size[i] <= 0 || *std::max_element(first, last) > size[i]) continue;
    for (int j = std::max(0, i - 1); j <= std::min(n - 1, i + 1); ++j) kept[j] = true;
  }
  for (int i = 0; i < n; ++i)
    if (!kept[i] && !std::isnan(steps[i][0])) steps[i].setZero();
}

enum class Steps { all, peaks };

/// Steps in units of the noise on the sky side, clipped to -1..1.
std::vector<StepColumn> clipped_steps(const Profiles& profiles, double window_px, Steps which) {
  const int window = std::max(2, static_cast<int>(std::lround(window_px / profiles.step_px)));
  std::vector<StepColumn> columns;
  for (const Profile& group : grouped(profiles)) columns.push_back({group.along_px, steps_of(group, window)});
  for (int c = 0; c < 3; ++c) {
    std::vector<double> quiet;
    for (const StepColumn& column : columns)
      for (int i = profiles.half_count; i <= 2 * profiles.half_count; ++i)
        if (!std::isnan(column.steps[i][c])) quiet.push_back(std::abs(column.steps[i][c]));
    const double noise = std::max(kLeastNoise, kSigmaOfMad * median_in_place(quiet));
    for (StepColumn& column : columns)
      for (Eigen::Vector3f& step : column.steps) step[c] /= static_cast<float>(kClip * noise);
  }
  for (StepColumn& column : columns) {
    if (which == Steps::peaks) keep_peaks(column.steps, window);
    for (Eigen::Vector3f& step : column.steps)
      for (int c = 0; c < 3; ++c) step[c] = std::clamp(step[c], -1.F, 1.F);  // not known stays not known
  }
  return columns;
}

/// Sum of the clipped steps along a slanted line; profiles at which it leaves the strip say nothing.
Eigen::Vector3f summed(const std::vector<StepColumn>& columns, const Profiles& profiles,
                       const OffsetSlope& course) {
  Eigen::Vector3f sum = Eigen::Vector3f::Zero();
  for (const StepColumn& column : columns) {
    const int sample =
        static_cast<int>(std::lround(course.at(column.along_px) / profiles.step_px)) + profiles.half_count;
    if (sample < 0 || sample > 2 * profiles.half_count) continue;
    const Eigen::Vector3f& step = column.steps[sample];
    if (!std::isnan(step[0])) sum += step;
  }
  return sum;
}

CoherentLine coherent_line(const OffsetSlope& course, const Eigen::Vector3f& sum, std::size_t columns) {
  const double length = sum.norm();
  CoherentLine line{course, Eigen::Vector3f(0.114F, 0.587F, 0.299F).normalized(), 0};
  if (columns == 0 || !(length > 0)) return line;
  line.direction = sum / static_cast<float>(length);
  // Colours go together: three clipped ones reach sqrt(3).
  line.coherence = length / std::sqrt(3.0) / static_cast<double>(columns);
  return line;
}

/// Largest distance between two slanted lines over the strip.
double apart(const OffsetSlope& a, const OffsetSlope& b, double first, double last) {
  return std::max(std::abs(a.at(first) - b.at(first)), std::abs(a.at(last) - b.at(last)));
}

/// Mean over profiles of each sample along a direction; NaN where none sees it.
std::vector<double> mean_profile(const Profiles& profiles, const Eigen::Vector3f& direction) {
  const int samples = 2 * profiles.half_count + 1;
  std::vector<double> sum(samples, 0);
  std::vector<int> count(samples, 0);
  for (const Profile& profile : profiles.all)
    for (int i = 0; i < samples; ++i)
      if (const double value = direction.dot(profile.colours[i]); !std::isnan(value))
        sum[i] += value, ++count[i];
  for (int i = 0; i < samples; ++i) sum[i] = count[i] > 0 ? sum[i] / count[i] : kUnknown;
  return sum;
}

/// Place of the top of a parabola through three values one apart, from the middle one.
double vertex(double left, double here, double right) {
  const double bend = left - 2 * here + right;
  return bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0;
}

/// Sample of the first minimum on the way down from `from`.
double lowest_below(const std::vector<double>& profile, int from) {
  int i = from;
  while (i > 1 && profile[i - 1] < profile[i]) --i;
  return i + (i > 0 ? vertex(-profile[i - 1], -profile[i], -profile[i + 1]) : 0.0);
}

}  // namespace

std::vector<CoherentLine> coherent_lines(const Profiles& profiles, double window_px, std::size_t most) {
  const auto columns = clipped_steps(profiles, window_px, Steps::peaks);
  if (columns.size() < 4) return {};
  const double first = columns.front().along_px, last = columns.back().along_px;
  const double half_length = std::max(std::abs(first), std::abs(last));
  const double slope_step = 1.5 * profiles.step_px / half_length;
  const int slopes = static_cast<int>(kMostSlope / slope_step);
  std::vector<CoherentLine> all;
  for (int s = -slopes; s <= slopes; ++s)
    for (int o = -profiles.half_count; o <= profiles.half_count; ++o) {
      const OffsetSlope course{o * profiles.step_px, s * slope_step};
      all.push_back(coherent_line(course, summed(columns, profiles, course), columns.size()));
    }
  std::stable_sort(all.begin(), all.end(),
                   [](const auto& a, const auto& b) { return a.coherence > b.coherence; });
  std::vector<CoherentLine> chosen;
  const double distinct = std::max(5 * profiles.step_px, window_px);
  for (const CoherentLine& line : all) {
    if (chosen.size() == most) break;
    const bool is_new = std::none_of(chosen.begin(), chosen.end(), [&](const CoherentLine& other) {
      return apart(line.course, other.course, first, last) < distinct;
    });
    if (is_new) chosen.push_back(line);
  }
  return chosen;
}

CoherentLine coherence_along(const Profiles& profiles, const OffsetSlope& course, double window_px) {
  const auto columns = clipped_steps(profiles, window_px, Steps::all);
  CoherentLine best{course, Eigen::Vector3f::Zero(), -1};
  for (const double nudge : {0.0, -1.0, 1.0}) {
    const OffsetSlope tried{course.offset + nudge * profiles.step_px, course.slope};
    const CoherentLine line = coherent_line(tried, summed(columns, profiles, tried), columns.size());
    if (line.coherence > best.coherence) best = line;
  }
  return best;
}

double lasting_share(const Profiles& profiles, const Eigen::Vector3f& direction, double window_px) {
  const int half = profiles.half_count;
  const int window = std::max(2, static_cast<int>(std::lround(window_px / profiles.step_px)));
  const auto mean_step = [&](int from, int to) {
    double sum = 0;
    int count = 0;
    for (const Profile& profile : profiles.all)
      for (int i = from; i <= to; ++i) {
        const double step = direction.dot(profile.colours[half + i] - profile.colours[half - i]);
        if (!std::isnan(step)) sum += step, ++count;
      }
    return count > 0 ? sum / count : 0.0;
  };
  const double at_line = mean_step(1, std::min(window, half));
  const double beyond = mean_step(std::min(window + 2, half), half);
  return at_line > 0 ? beyond / at_line : 0;
}

double edge_offset_px(const Profiles& profiles, const Eigen::Vector3f& direction, double reach_px) {
  const std::vector<double> profile = mean_profile(profiles, direction);
  const auto rise = [&](int i) { return profile[i + 1] - profile[i - 1]; };
  const int reach = std::min(static_cast<int>(reach_px / profiles.step_px), profiles.half_count - 2);
  double steepest = 0, place = profiles.half_count;
  for (int i = profiles.half_count - reach; i <= profiles.half_count + reach; ++i)
    if (rise(i) > steepest && rise(i) >= rise(i - 1) && rise(i) >= rise(i + 1)) {
      steepest = rise(i);
      place = i + vertex(rise(i - 1), rise(i), rise(i + 1));
    }
  if (steepest <= 0) return 0;
  const double darkest = lowest_below(profile, static_cast<int>(place));
  const double half_width_px = (place - darkest) * profiles.step_px;
  const double unblurred_px = std::sqrt(std::max(0.0, half_width_px * half_width_px - kBlurVariance_px2));
  return profiles.across_px(darkest) + unblurred_px;
}

}  // namespace lookdown::level
