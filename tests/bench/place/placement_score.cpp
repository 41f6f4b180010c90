#include "placement_score.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <complex>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>
#include <stdexcept>

#include "pipeline/base/angles.h"
#include "pipeline/record/record_json.h"

namespace lookdown::bench {

nlohmann::json read_json(const std::filesystem::path& path) {
  std::ifstream in(path);
  if (!in) throw std::runtime_error(path.string() + ": cannot be read");
  return nlohmann::json::parse(in);
}

namespace {

using nlohmann::json;
using Complex = std::complex<double>;

Eigen::Matrix3d matrix(const json& numbers) {
  Eigen::Matrix3d m;
  for (int i = 0; i < 9; ++i) m(i / 3, i % 3) = numbers.at(std::size_t(i)).get<double>();
  return m;
}

/// OpenCV's distortion written out here, so that truth is not projected by the code under test.
bool true_pixel(const Camera& c, const Eigen::Matrix3d& rotation, const Eigen::Vector3d& centre,
                const Eigen::Vector3d& world, int width, int height, Eigen::Vector2d& px) {
  const Eigen::Vector3d p = rotation.transpose() * (world - centre);
  if (p.z() <= 0) return false;
  const double tangent = p.head<2>().norm() / p.z();
  if (tangent > 2) return false;
  const bool by_angle = c.projection == Projection::equidistant && tangent > 0;
  const Eigen::Vector2d ideal = p.head<2>() / p.z() * (by_angle ? std::atan(tangent) / tangent : 1);
  const double u = ideal.x(), v = ideal.y(), r2 = u * u + v * v;
  const double d = 1 + c.k1 * r2 + c.k2 * r2 * r2 + c.k3 * r2 * r2 * r2;
  px.x() = c.fx_px * (u * d + 2 * c.p1 * u * v + c.p2 * (r2 + 2 * u * u)) + c.cx_px;
  px.y() = c.fy_px * (v * d + c.p1 * (r2 + 2 * v * v) + 2 * c.p2 * u * v) + c.cy_px;
  return px.x() >= 0 && px.y() >= 0 && px.x() <= width - 1 && px.y() <= height - 1;
}

struct Sample {
  std::size_t frame = 0;
  Complex ground;  ///< y up
  Complex mosaic;  ///< y up (rows negated)
  double mosaic_px_per_frame_px = 1;
};

struct Similarity {
  Complex factor, shift;
};

Similarity fit(const std::vector<Sample>& samples) {
  Complex mean_ground, mean_mosaic;
  for (const Sample& s : samples) {
    mean_ground += s.ground / double(samples.size());
    mean_mosaic += s.mosaic / double(samples.size());
  }
  Complex product;
  double square = 0;
  for (const Sample& s : samples) {
    product += std::conj(s.ground - mean_ground) * (s.mosaic - mean_mosaic);
    square += std::norm(s.ground - mean_ground);
  }
  const Complex factor = product / square;
  return {factor, mean_mosaic - factor * mean_ground};
}

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  std::nth_element(values.begin(), values.begin() + std::ptrdiff_t(values.size() / 2), values.end());
  return values[values.size() / 2];
}

/// A flight may mix cameras: a frame's own one goes before the flight's.
const json& lens_of(const json& truth, const json& true_frame) {
  return true_frame.contains("camera") ? true_frame.at("camera") : truth.at("camera");
}

void sample_frame(const json& truth, const json& true_frame, const json& placed, std::size_t index,
                  std::vector<Sample>& samples) {
  const json& lens = lens_of(truth, true_frame);
  const Camera true_camera = camera_from_json(lens);
  int width = lens.at("width_px"), height = lens.at("height_px");
  const Camera placed_camera = camera_from_json(placed.at("camera"));
  const Eigen::Matrix3d h = matrix(placed.at("frame_to_mosaic"));
  const Eigen::Matrix3d rotation = matrix(true_frame.at("rotation"));
  const auto& c = true_frame.at("centre_m");
  const Eigen::Vector3d centre(c[0], c[1], c[2]);
  for (const json& g : truth.at("ground_points")) {
    Eigen::Vector2d px;
    const Eigen::Vector3d world(g[0], g[1], g[2]);
    if (!true_pixel(true_camera, rotation, centre, world, width, height, px)) continue;
    const auto flat = placed_camera.undistort({px.x(), px.y()});
    const Eigen::Vector3d q = h * Eigen::Vector3d(flat.x, flat.y, 1);
    Sample s;
    s.frame = index;
    s.ground = {world.x(), world.y()};
    s.mosaic = {q.x() / q.z(), -q.y() / q.z()};
    s.mosaic_px_per_frame_px = std::sqrt(std::abs(h.determinant() / std::pow(q.z(), 3)));
    samples.push_back(s);
  }
}

/// Angle between the true and the placed straight down, both in camera axes: no common world is needed.
double down_error_deg(const json& true_frame, const json& placed) {
  const Eigen::Vector3d truth = -matrix(true_frame.at("rotation")).row(2).transpose();
  const Eigen::Vector3d found = -matrix(placed.at("rotation")).row(2).transpose();
  return std::atan2(truth.cross(found).norm(), truth.dot(found)) / kDegree;
}

void summarise(PlacementScore& score, const std::vector<Sample>& samples, const json& placement) {
  std::vector<Sample> first;
  for (const Sample& s : samples)
    if (score.frames[s.frame].group == 0) first.push_back(s);
  if (first.size() < 2) return;
  const Similarity similarity = fit(first);
  score.mosaic_from_ground = similarity.factor;
  score.mosaic_shift = similarity.shift;
  double all = 0;
  for (const Sample& s : first) {
    const double off =
        std::abs(similarity.factor * s.ground + similarity.shift - s.mosaic) / s.mosaic_px_per_frame_px;
    all += off * off;
    FrameScore& f = score.frames[s.frame];
    f.rmse_px += off * off;
    ++f.points;
  }
  score.rmse_px = std::sqrt(all / double(first.size()));
  for (FrameScore& f : score.frames) {
    if (f.points > 0) f.rmse_px = std::sqrt(f.rmse_px / f.points);
    score.worst_frame_rmse_px = std::max(score.worst_frame_rmse_px, f.rmse_px);
  }
  if (!placement.at("gsd_m").is_null())
    score.gsd_error_share = placement.at("gsd_m").get<double>() * std::abs(similarity.factor) - 1;
}

}  // namespace

PlacementScore score_placement(const std::filesystem::path& truth_json,
                               const std::filesystem::path& placement_json) {
  const json truth = read_json(truth_json), placement = read_json(placement_json);
  std::map<std::string, const json*> placed;
  std::map<std::string, std::string> why_not;
  for (const json& f : placement.at("frames")) placed[f.at("file")] = &f;
  for (const json& f : placement.at("not_placed")) why_not[f.at("file")] = f.at("why");

  PlacementScore score;
  std::vector<Sample> samples;
  std::vector<double> off_nadir, focal;
  for (const json& f : truth.at("frames")) {
    FrameScore one;
    one.file = f.at("file");
    one.kind = f.at("kind");
    one.sharp = f.at("sharp");
    const bool counts = one.sharp && one.kind == "nadir";
    score.sharp_nadir += counts;
    const auto found = placed.find(one.file);
    if (found != placed.end()) {
      const json& p = *found->second;
      one.placed = true;
      one.group = p.at("group");
      one.off_nadir_error_deg = down_error_deg(f, p);
      score.groups = std::max(score.groups, one.group + 1);
      ++score.placed;
      score.sharp_nadir_in_first_group += counts && one.group == 0;
      if (one.group == 0) off_nadir.push_back(one.off_nadir_error_deg);
      focal.push_back(p.at("camera").at("fx_px").get<double>() / lens_of(truth, f).at("fx_px").get<double>() -
                      1);
      sample_frame(truth, f, p, score.frames.size(), samples);
    } else {
      one.why_not = why_not[one.file];
    }
    score.frames.push_back(one);
  }
  score.median_off_nadir_error_deg = median(off_nadir);
  score.focal_error_share = median(focal);
  summarise(score, samples, placement);
  return score;
}

SpaceScore score_space(const std::filesystem::path& truth_json, const std::filesystem::path& placement_json) {
  const json truth = read_json(truth_json), placement = read_json(placement_json);
  std::map<std::string, const json*> placed;
  for (const json& f : placement.at("frames"))
    if (f.at("group") == 0) placed[f.at("file")] = &f;
  std::vector<Eigen::Vector3d> found, given;
  std::vector<double> gsds;
  for (const json& g : truth.at("ground_points")) {
    const Eigen::Vector3d world(g[0], g[1], g[2]);
    Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
    Eigen::Vector3d towards = Eigen::Vector3d::Zero();
    int rays = 0;
    for (const json& f : truth.at("frames")) {
      const auto at = placed.find(f.at("file"));
      if (at == placed.end()) continue;
      const json& lens = lens_of(truth, f);
      const auto& c = f.at("centre_m");
      const Eigen::Vector3d true_centre(c[0], c[1], c[2]);
      Eigen::Vector2d px;
      if (!true_pixel(camera_from_json(lens), matrix(f.at("rotation")), true_centre, world,
                      lens.at("width_px"), lens.at("height_px"), px))
        continue;
      const Camera camera = camera_from_json(at->second->at("camera"));
      const Eigen::Vector3d ray =
          matrix(at->second->at("rotation")) * camera.ray(camera.undistort({px.x(), px.y()}));
      const auto& p = at->second->at("centre_m");
      const Eigen::Matrix3d across = Eigen::Matrix3d::Identity() - ray * ray.transpose();
      sum += across;
      towards += across * Eigen::Vector3d(p[0], p[1], p[2]);
      ++rays;
      gsds.push_back((true_centre.z() - world.z()) / lens.at("fx_px").get<double>());
    }
    if (rays < 2) continue;
    found.push_back(sum.ldlt().solve(towards));
    given.push_back(world);
  }
  SpaceScore score;
  score.points = int(found.size());
  score.gsd_m = median(gsds);
  if (found.size() < 4) return score;
  Eigen::Matrix3Xd from(3, found.size()), to(3, found.size());
  for (std::size_t i = 0; i < found.size(); ++i) {
    from.col(Eigen::Index(i)) = found[i];
    to.col(Eigen::Index(i)) = given[i];
  }
  const Eigen::Matrix4d similarity = Eigen::umeyama(from, to, true);
  score.truth_from_placed = similarity;
  std::vector<double> off;
  for (std::size_t i = 0; i < found.size(); ++i) {
    const Eigen::Vector3d d = (similarity * found[i].homogeneous()).head<3>() - given[i];
    score.horizontal_m += d.head<2>().squaredNorm();
    score.vertical_m += d.z() * d.z();
    off.push_back(d.norm());
  }
  score.rmse_m = std::sqrt((score.horizontal_m + score.vertical_m) / double(off.size()));
  score.horizontal_m = std::sqrt(score.horizontal_m / double(off.size()));
  score.vertical_m = std::sqrt(score.vertical_m / double(off.size()));
  score.median_m = median(off);
  std::sort(off.begin(), off.end());
  score.p95_m = off[off.size() * 95 / 100];
  return score;
}

}  // namespace lookdown::bench
