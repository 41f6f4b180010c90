#include "stages/level/edge_profiles.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <optional>

namespace lookdown::level {
namespace {

constexpr int kMostStations = 240;

/// Bilinear colour at a position; empty outside.
std::optional<Eigen::Vector3f> colour_at(const cv::Mat3b& picture, double x, double y) {
  if (!(x >= 0 && y >= 0 && x <= picture.cols - 1.001 && y <= picture.rows - 1.001)) return std::nullopt;
  const int column = static_cast<int>(x), row = static_cast<int>(y);
  const float fx = static_cast<float>(x - column), fy = static_cast<float>(y - row);
  const cv::Vec3b *upper = picture[row] + column, *lower = picture[row + 1] + column;
  Eigen::Vector3f colour;
  for (int c = 0; c < 3; ++c)
    colour[c] = (1 - fy) * ((1 - fx) * upper[0][c] + fx * upper[1][c]) +
                fy * ((1 - fx) * lower[0][c] + fx * lower[1][c]);
  return colour;
}

/// Colours across one station, lowest (ground side) first; empty entries outside the picture.
struct Station {
  double along = 0;
  std::vector<std::optional<Eigen::Vector3f>> colours;
};

std::vector<Station> sample_stations(const cv::Mat3b& picture, const Camera& camera, const LineFrame& frame,
                                     int half_count, double step) {
  const double length = frame.last - frame.first;
  const int count = std::clamp(static_cast<int>(length / 2), 0, kMostStations);
  const double reach = camera.monotonic_radius_px();
  const Eigen::Vector2d centre(camera.cx_px, camera.cy_px);
  std::vector<Station> stations;
  for (int k = 0; k < count; ++k) {
    Station station;
    station.along = frame.first + (k + 0.5) * length / count;
    int inside = 0;
    for (int i = -half_count; i <= half_count; ++i) {
      const Eigen::Vector2d p = frame.foot + station.along * frame.along + i * step * frame.to_sky;
      std::optional<Eigen::Vector3f> colour;
      if ((p - centre).norm() < reach) {
        const auto seen =
            camera.has_distortion() ? camera.distort({p.x(), p.y()}) : Point2<StoredPx>{p.x(), p.y()};
        colour = colour_at(picture, seen.x, seen.y);
      }
      inside += colour.has_value();
      station.colours.push_back(colour);
    }
    if (inside > half_count) stations.push_back(std::move(station));
  }
  return stations;
}

/// Fisher's direction between the colours of the two sides, scaled so that the mean step is the step in its
/// own units.
Eigen::Vector3f parting_direction(const std::vector<Station>& stations, int half_count) {
  Eigen::Vector3d mean[2] = {Eigen::Vector3d::Zero(), Eigen::Vector3d::Zero()};
  Eigen::Matrix3d square = Eigen::Matrix3d::Zero();
  double count[2] = {0, 0};
  for (int pass = 0; pass < 2; ++pass) {
    for (const Station& station : stations)
      for (int i = 0; i < static_cast<int>(station.colours.size()); ++i) {
        if (!station.colours[i] || std::abs(i - half_count) <= half_count / 8) continue;
        const int side = i > half_count;
        const Eigen::Vector3d colour = station.colours[i]->cast<double>();
        if (pass == 0) {
          mean[side] += colour;
          count[side] += 1;
        } else {
          square += (colour - mean[side]) * (colour - mean[side]).transpose();
        }
      }
    if (pass == 0)
      for (int side = 0; side < 2; ++side)
        if (count[side] > 0) mean[side] /= count[side];
  }
  const Eigen::Matrix3d within =
      square / std::max(1.0, count[0] + count[1]) + 4.0 * Eigen::Matrix3d::Identity();
  const Eigen::Vector3d difference = mean[1] - mean[0];
  Eigen::Vector3d direction = within.ldlt().solve(difference);
  if (direction.norm() < 1e-9) direction = Eigen::Vector3d(0.114, 0.587, 0.299);
  return direction.normalized().cast<float>();
}

/// Step responses of one station: mean of the window above minus mean of the window below each position.
std::vector<std::optional<float>> step_responses(const Station& station, const Eigen::Vector3f& direction,
                                                 int window) {
  const int n = static_cast<int>(station.colours.size());
  std::vector<float> running(n + 1, 0.F);
  std::vector<int> missing(n + 1, 0);
  for (int i = 0; i < n; ++i) {
    running[i + 1] = running[i] + (station.colours[i] ? direction.dot(*station.colours[i]) : 0.F);
    missing[i + 1] = missing[i] + (station.colours[i] ? 0 : 1);
  }
  std::vector<std::optional<float>> responses(n);
  for (int i = window; i + window < n; ++i) {
    if (missing[i + window + 1] != missing[i - window]) continue;
    responses[i] = (running[i + window + 1] - running[i + 1] - running[i] + running[i - window]) / window;
  }
  return responses;
}

/// Local maxima of |response|, strongest three, placed by a parabola.
void collect_steps(const std::vector<std::optional<float>>& responses, int station, double along,
                   int half_count, double step, std::vector<Step>& out) {
  std::vector<Step> found;
  for (int i = 1; i + 1 < static_cast<int>(responses.size()); ++i) {
    if (!responses[i - 1] || !responses[i] || !responses[i + 1]) continue;
    const float sign = *responses[i] < 0 ? -1.F : 1.F;
    const float left = sign * *responses[i - 1], here = sign * *responses[i],
                right = sign * *responses[i + 1];
    if (here < left || here <= right) continue;
    const float bend = left - 2 * here + right;
    const double shift = bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0;
    found.push_back({station, along, (i - half_count + shift) * step, *responses[i]});
  }
  std::stable_sort(found.begin(), found.end(),
                   [](const Step& a, const Step& b) { return std::abs(a.height) > std::abs(b.height); });
  if (found.size() > 3) found.resize(3);
  out.insert(out.end(), found.begin(), found.end());
}

}  // namespace

LineFrame line_frame(const Eigen::Vector3d& line, const cv::Size& size) {
  LineFrame frame;
  frame.to_sky = line.head<2>();
  frame.along = Eigen::Vector2d(-frame.to_sky.y(), frame.to_sky.x());
  const Eigen::Vector2d centre(0.5 * (size.width - 1), 0.5 * (size.height - 1));
  frame.foot = centre - (frame.to_sky.dot(centre) + line.z()) * frame.to_sky;
  double first = -1e9, last = 1e9;
  const double limits[2] = {size.width - 1.0, size.height - 1.0};
  for (int axis = 0; axis < 2; ++axis) {
    if (std::abs(frame.along[axis]) < 1e-9) {
      if (frame.foot[axis] < 0 || frame.foot[axis] > limits[axis]) last = first;
      continue;
    }
    double a = -frame.foot[axis] / frame.along[axis],
           b = (limits[axis] - frame.foot[axis]) / frame.along[axis];
    if (a > b) std::swap(a, b);
    first = std::max(first, a);
    last = std::min(last, b);
  }
  frame.first = first;
  frame.last = std::max(first, last);
  return frame;
}

Profiles profiles_across(const cv::Mat3b& blurred, const Camera& camera, const LineFrame& frame,
                         double reach_px, double half_width_px) {
  // Long reaches are sampled every few pixels: the step is first found, then placed.
  const double step = std::max(1.0, reach_px / 60);
  const int window = std::max(2, static_cast<int>(std::lround(half_width_px / step)));
  const int half_count = static_cast<int>(std::ceil(reach_px / step)) + window;
  const auto stations = sample_stations(blurred, camera, frame, half_count, step);
  const Eigen::Vector3f direction = parting_direction(stations, half_count);
  Profiles profiles;
  profiles.stations = static_cast<int>(stations.size());
  std::vector<float> quiet;
  for (int k = 0; k < profiles.stations; ++k) {
    const auto responses = step_responses(stations[k], direction, window);
    for (int i = half_count + 2 * window; i < static_cast<int>(responses.size()); ++i)
      if (responses[i]) quiet.push_back(std::abs(*responses[i]));
    collect_steps(responses, k, stations[k].along, half_count, step, profiles.steps);
  }
  if (!quiet.empty()) {
    std::nth_element(quiet.begin(), quiet.begin() + static_cast<long>(quiet.size()) / 2, quiet.end());
    profiles.sky_noise = 1.4826 * quiet[quiet.size() / 2];
  }
  return profiles;
}

}  // namespace lookdown::level
