#include "stages/level/lines/edge_profiles.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

#include "pipeline/base/robust_statistics.h"

namespace lookdown::level {
namespace {

const Eigen::Vector3f kOutside = Eigen::Vector3f::Constant(std::numeric_limits<float>::quiet_NaN());

bool is_inside(const Eigen::Vector3f& colour) {
  return !std::isnan(colour[0]);
}

/// Bilinear colour at a position; NaN outside.
Eigen::Vector3f colour_at(const cv::Mat3b& picture, double x, double y) {
  if (!(x >= 0 && y >= 0 && x <= picture.cols - 1.001 && y <= picture.rows - 1.001)) return kOutside;
  const int column = static_cast<int>(x), row = static_cast<int>(y);
  const float fx = static_cast<float>(x - column), fy = static_cast<float>(y - row);
  const cv::Vec3b *upper = picture[row] + column, *lower = picture[row + 1] + column;
  Eigen::Vector3f colour;
  for (int c = 0; c < 3; ++c)
    colour[c] = (1 - fy) * ((1 - fx) * upper[0][c] + fx * upper[1][c]) +
                fy * ((1 - fx) * lower[0][c] + fx * lower[1][c]);
  return colour;
}

/// EdgeResponse responses of one profile: mean of the window above minus mean of the window below each
/// position; NaN near the ends.
std::vector<float> step_responses(const Profile& profile, const Eigen::Vector3f& direction, int window) {
  const int n = static_cast<int>(profile.colours.size());
  std::vector<float> running(n + 1, 0.F);
  std::vector<int> missing(n + 1, 0);
  for (int i = 0; i < n; ++i) {
    const bool inside = is_inside(profile.colours[i]);
    running[i + 1] = running[i] + (inside ? direction.dot(profile.colours[i]) : 0.F);
    missing[i + 1] = missing[i] + (inside ? 0 : 1);
  }
  std::vector<float> responses(n, std::numeric_limits<float>::quiet_NaN());
  for (int i = window; i + window < n; ++i) {
    if (missing[i + window + 1] != missing[i - window]) continue;
    responses[i] = (running[i + window + 1] - running[i + 1] - running[i] + running[i - window]) / window;
  }
  return responses;
}

/// Local maxima of |response|, strongest three, placed by a parabola.
void collect_steps(const std::vector<float>& responses, int index, const Profiles& profiles,
                   std::vector<EdgeResponse>& out) {
  std::vector<EdgeResponse> found;
  for (int i = 1; i + 1 < static_cast<int>(responses.size()); ++i) {
    const float sign = responses[i] < 0 ? -1.F : 1.F;
    const float left = sign * responses[i - 1], here = sign * responses[i], right = sign * responses[i + 1];
    if (!(here >= left && here > right)) continue;
    const double bend = left - 2 * here + right;
    const double shift = bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0;
    found.push_back({index, profiles.all[index].along_px, profiles.across_px(i + shift), responses[i]});
  }
  std::stable_sort(found.begin(), found.end(), [](const EdgeResponse& a, const EdgeResponse& b) {
    return std::abs(a.height) > std::abs(b.height);
  });
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

Profiles sample_profiles(const cv::Mat3b& blurred, const Camera& camera, const LineFrame& frame,
                         double reach_px, int most) {
  Profiles profiles;
  // Long reaches are sampled every few pixels: the step is first found, then placed.
  profiles.step_px = std::max(1.0, reach_px / 64);
  profiles.half_count = static_cast<int>(std::ceil(reach_px / profiles.step_px));
  const double length = frame.last - frame.first;
  const int count = std::clamp(static_cast<int>(length / 2), 0, most);
  const double lens_reach = camera.monotonic_radius_px();
  const Eigen::Vector2d centre(camera.cx_px, camera.cy_px);
  for (int k = 0; k < count; ++k) {
    Profile profile;
    profile.along_px = frame.first + (k + 0.5) * length / count;
    int inside = 0;
    for (int i = 0; i <= 2 * profiles.half_count; ++i) {
      const Eigen::Vector2d p =
          frame.foot + profile.along_px * frame.along + profiles.across_px(i) * frame.to_sky;
      Eigen::Vector3f colour = kOutside;
      if ((p - centre).norm() < lens_reach) {
        const auto seen = camera.distort({p.x(), p.y()});
        colour = colour_at(blurred, seen.x, seen.y);
      }
      inside += is_inside(colour);
      profile.colours.push_back(colour);
    }
    if (inside > profiles.half_count) profiles.all.push_back(std::move(profile));
  }
  return profiles;
}

Eigen::Vector3f fisher_direction(const Profiles& profiles) {
  Eigen::Vector3d mean[2] = {Eigen::Vector3d::Zero(), Eigen::Vector3d::Zero()};
  Eigen::Matrix3d square = Eigen::Matrix3d::Zero();
  double count[2] = {0, 0};
  // Near the line itself it is not yet known which side a sample belongs to.
  const int gap = profiles.half_count / 8;
  for (int pass = 0; pass < 2; ++pass) {
    for (const Profile& profile : profiles.all)
      for (int i = 0; i <= 2 * profiles.half_count; ++i) {
        if (!is_inside(profile.colours[i]) || std::abs(i - profiles.half_count) <= gap) continue;
        const int side = i > profiles.half_count;
        const Eigen::Vector3d colour = profile.colours[i].cast<double>();
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
  Eigen::Vector3d direction = within.ldlt().solve(mean[1] - mean[0]);
  if (direction.norm() < 1e-9) direction = Eigen::Vector3d(0.114, 0.587, 0.299);
  return direction.normalized().cast<float>();
}

EdgeResponses edge_responses(const Profiles& profiles, double half_width_px) {
  return edge_responses(profiles, half_width_px, fisher_direction(profiles));
}

EdgeResponses edge_responses(const Profiles& profiles, double half_width_px,
                             const Eigen::Vector3f& direction) {
  const int window = std::max(2, static_cast<int>(std::lround(half_width_px / profiles.step_px)));
  EdgeResponses out;
  out.profiles = static_cast<int>(profiles.all.size());
  std::vector<float> quiet;
  for (int k = 0; k < out.profiles; ++k) {
    const auto responses = step_responses(profiles.all[k], direction, window);
    for (int i = profiles.half_count + 2 * window; i < static_cast<int>(responses.size()); ++i)
      if (!std::isnan(responses[i])) quiet.push_back(std::abs(responses[i]));
    collect_steps(responses, k, profiles, out.steps);
  }
  out.sky_noise = kSigmaOfMad * median_in_place(quiet);
  return out;
}

}  // namespace lookdown::level
