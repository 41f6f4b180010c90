#include "painted_flight.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <limits>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "painted_sensor.h"

namespace painted {
namespace {

using nlohmann::json;

/// Viewing rays (u, v, 1) of every pixel of a picture `samples` times as fine.
cv::Mat rays(const PaintedCamera& camera) {
  const int times = camera.samples;
  std::vector<cv::Point2f> pixels, ideal;
  for (int y = 0; y < camera.height_px * times; ++y)
    for (int x = 0; x < camera.width_px * times; ++x)
      pixels.emplace_back(float((x + 0.5) / times - 0.5), float((y + 0.5) / times - 0.5));
  const cv::Matx33d matrix(camera.focal_px, 0, camera.cx_px, 0, camera.focal_px, camera.cy_px, 0, 0, 1);
  const std::vector<double> bend{camera.k1, camera.k2, 0, 0};
  if (camera.fisheye)
    cv::fisheye::undistortPoints(pixels, ideal, matrix, bend);
  else
    cv::undistortPoints(pixels, ideal, matrix, bend, cv::noArray(), cv::noArray(),
                        cv::TermCriteria(cv::TermCriteria::COUNT, 20, 0));
  return cv::Mat(ideal, true).reshape(2, camera.height_px * times);
}

cv::Vec3f look_up(const cv::Mat& picture, double x, double y) {
  const int c = std::clamp(int(std::floor(x)), 0, picture.cols - 2),
            r = std::clamp(int(std::floor(y)), 0, picture.rows - 2);
  const float a = std::clamp(float(x - c), 0.F, 1.F), b = std::clamp(float(y - r), 0.F, 1.F);
  const cv::Vec3f p(picture.at<cv::Vec3b>(r, c)), q(picture.at<cv::Vec3b>(r, c + 1)),
      s(picture.at<cv::Vec3b>(r + 1, c)), t(picture.at<cv::Vec3b>(r + 1, c + 1));
  return (p * (1 - a) + q * a) * (1 - b) + (s * (1 - a) + t * a) * b;
}

/// A site's layer at the level whose pixels are about as large as the frame's.
class Layer {
 public:
  Layer(const std::vector<cv::Mat>& levels, double ground_px) {
    while (level_ + 1 < int(levels.size()) && std::exp2(level_ + 1) <= ground_px * 1.2) ++level_;
    picture_ = levels[std::size_t(level_)];
    height_ = levels[0].rows;
  }
  [[nodiscard]] cv::Vec3f at(const Eigen::Vector2d& p) const {
    const double share = std::exp2(-level_);
    return look_up(picture_, (p.x() + 0.5) * share - 0.5, (height_ - p.y() + 0.5) * share - 0.5);
  }

 private:
  int level_ = 0, height_ = 0;
  cv::Mat picture_;
};

/// Where a ray meets the ground: fixed-point iteration over the height, which converges while the ground is
/// less steep than the ray.
Eigen::Vector2d meets_ground(const Site& site, const Shot& s, const Eigen::Vector3d& ray) {
  double height = 0;
  Eigen::Vector2d at = (s.centre - ray * (s.centre.z() / ray.z())).head<2>();
  for (int i = 0; i < (site.relief.empty() ? 0 : 14); ++i) {
    height = ground_height(site, at.x(), at.y());
    at = (s.centre - ray * ((s.centre.z() - height) / ray.z())).head<2>();
  }
  return at;
}

/// Where a ray meets the roof's slopes, as if they went on beyond its eaves.
Eigen::Vector2d meets_roof(const Shed& shed, const Shot& s, const Eigen::Vector3d& ray) {
  double height = shed.height;
  Eigen::Vector2d at = (s.centre - ray * ((s.centre.z() - height) / ray.z())).head<2>();
  for (int i = 0; i < (shed.ridge > 0 ? 10 : 0); ++i) {
    (void)on_shed(shed, at.x(), at.y(), &height);
    at = (s.centre - ray * ((s.centre.z() - height) / ray.z())).head<2>();
  }
  return at;
}

/// False where neither roof nor wall can show: the ray passes the shed at a distance. `at_zero`: where it
/// meets z = 0; `lean`: what it moves sideways for each unit of height.
bool passes_near(const Shed& shed, const Eigen::Vector2d& at_zero, const Eigen::Vector2d& lean,
                 const Eigen::Vector2d& at_ground) {
  const double reach = 0.5 * (shed.outline.size.width + shed.outline.size.height) + 2,
               top = shed.height + shed.ridge;
  const Eigen::Vector2d at_top = at_zero + top * lean;
  const double x = shed.outline.center.x, y = shed.outline.center.y;
  return std::min(at_top.x(), at_ground.x()) - reach < x && std::max(at_top.x(), at_ground.x()) + reach > x &&
         std::min(at_top.y(), at_ground.y()) - reach < y && std::max(at_top.y(), at_ground.y()) + reach > y;
}

bool inside(const Shed& shed, const Eigen::Vector2d& p) {
  return on_shed(shed, p.x(), p.y());
}

/// A ray comes in over the roof's edge and ends at the foot: somewhere between it enters the box through a
/// wall.
bool meets_wall(const Shed& shed, const Eigen::Vector2d& at_roof, const Eigen::Vector2d& at_ground) {
  for (int k = 1; k <= 4; ++k)
    if (inside(shed, at_roof + (at_ground - at_roof) * (k / 4.0))) return true;
  return false;
}

struct Waves {
  cv::Mat noise;
  Eigen::Vector2d shift;
  [[nodiscard]] float at(const Eigen::Vector2d& p) const {
    const auto wrap = [](double v, int n) {
      return int(std::floor(v)) % n < 0 ? int(std::floor(v)) % n + n : int(std::floor(v)) % n;
    };
    return noise.at<float>(wrap(p.y() + shift.y(), noise.rows), wrap(p.x() + shift.x(), noise.cols));
  }
};

bool is_water(const Site& site, const Eigen::Vector2d& p) {
  const int c = int(p.x()), r = int(site.choice.height - p.y());
  return c >= 0 && r >= 0 && c < site.pond.cols && r < site.pond.rows && site.pond.at<std::uint8_t>(r, c) > 0;
}

/// What a ray first meets of a crown: leaves lie on shells one in the other, the innermost closed. The wind
/// moves them between frames.
bool meets_tree(const Tree& tree, const cv::Mat& leaves, const Shot& s, const Eigen::Vector3d& ray,
                const Eigen::Vector2d& wind, cv::Vec3f& colour) {
  const Eigen::Vector3d way = ray.normalized(), from = s.centre - Eigen::Vector3d(tree.x, tree.y, tree.z);
  const double along = -from.dot(way), off = from.squaredNorm() - along * along;
  constexpr int kShells = 5;
  for (int shell = 0; shell < kShells; ++shell) {
    const double radius = tree.radius * (1 - 0.11 * shell);
    if (off > radius * radius) return false;
    const Eigen::Vector3d hit = from + way * (along - std::sqrt(radius * radius - off));
    const Waves pattern{leaves,
                        Eigen::Vector2d(tree.x, tree.y) + Eigen::Vector2d(331.0, 197.0) * shell + wind};
    const float leaf = pattern.at(hit.head<2>());
    if (shell + 1 < kShells && leaf < 0.1F) continue;
    const auto sun = float(0.65 + 0.35 * hit.dot(Eigen::Vector3d(-0.5, 0.5, 0.7)) / radius);
    colour = cv::Vec3f(38, 85, 62) * (0.55F + 1.1F * std::max(0.F, leaf)) * std::max(0.15F, sun) *
             float(std::pow(0.72, shell));
    return true;
  }
  return false;
}

json camera_words(const PaintedCamera& c) {
  return {{"width_px", c.width_px},
          {"height_px", c.height_px},
          {"fx_px", c.focal_px},
          {"fy_px", c.focal_px},
          {"cx_px", c.cx_px},
          {"cy_px", c.cy_px},
          {"projection", c.fisheye ? "equidistant" : "rectilinear"},
          {"k1", c.k1},
          {"k2", c.k2},
          {"p1", 0.0},
          {"p2", 0.0},
          {"k3", 0.0}};
}

/// The camera that a picture turned clockwise by 90 degrees seems to come from: pixel (x, y) has become
/// (height - 1 - y, x).
PaintedCamera turned(const PaintedCamera& c) {
  return {c.height_px, c.width_px, c.focal_px, c.height_px - 1 - c.cy_px, c.cx_px, c.k1,
          c.k2,        c.samples,  c.fisheye};
}
Eigen::Matrix3d turned(const Eigen::Matrix3d& world_from_camera) {
  Eigen::Matrix3d old_from_new;
  old_from_new << 0, 1, 0, -1, 0, 0, 0, 0, 1;
  return world_from_camera * old_from_new;
}

/// Height of the eaves and corners on the ground below them.
json roofs_of(const Site& site) {
  json blocks = json::array();
  for (const Shed& shed : site.sheds) {
    const double angle = shed.outline.angle * CV_PI / 180;
    const Eigen::Vector2d along =
        Eigen::Vector2d(std::cos(angle), std::sin(angle)) * shed.outline.size.width / 2;
    const Eigen::Vector2d across =
        Eigen::Vector2d(-std::sin(angle), std::cos(angle)) * shed.outline.size.height / 2;
    const Eigen::Vector2d middle(shed.outline.center.x, shed.outline.center.y);
    json outline = json::array();
    for (const Eigen::Vector2d& corner :
         {Eigen::Vector2d(middle - along - across), Eigen::Vector2d(middle + along - across),
          Eigen::Vector2d(middle + along + across), Eigen::Vector2d(middle - along + across)})
      outline.push_back({corner.x(), corner.y()});
    blocks.push_back({{"height_m", shed.height}, {"outline", outline}});
  }
  return blocks;
}

/// surface_truth.tif: CV_32F heights of ground and roofs at every unit, row 0 at y = 0; NaN under trees.
void write_surface(const Site& site, const std::filesystem::path& folder) {
  cv::Mat heights(int(site.choice.height), int(site.choice.width), CV_32F);
  for (int row = 0; row < heights.rows; ++row)
    for (int column = 0; column < heights.cols; ++column)
      heights.at<float>(row, column) = under_tree(site, column, row)
                                           ? std::numeric_limits<float>::quiet_NaN()
                                           : float(surface_height(site, column, row));
  cv::imwrite((folder / "surface_truth.tif").string(), heights);
}

json numbers(const Eigen::Matrix3d& m) {
  json list = json::array();
  for (int i = 0; i < 9; ++i) list.push_back(m(i / 3, i % 3));
  return list;
}

}  // namespace

Shot shot(const std::string& file, const Eigen::Vector3d& centre, double heading_rad, double tilt_x_rad,
          double tilt_y_rad) {
  Shot s;
  s.file = file;
  s.centre = centre;
  Eigen::Matrix3d down;  // camera x right, y down, z forward; world x right, y up, z up
  down << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  s.world_from_camera = (Eigen::AngleAxisd(-heading_rad, Eigen::Vector3d::UnitZ()) *
                         Eigen::Quaterniond(down) * Eigen::AngleAxisd(tilt_x_rad, Eigen::Vector3d::UnitX()) *
                         Eigen::AngleAxisd(tilt_y_rad, Eigen::Vector3d::UnitY()))
                            .toRotationMatrix();
  return s;
}

PaintedCamera camera_of(const FlightChoice& c) {
  return {c.width_px,
          c.height_px,
          c.focal_px,
          (c.width_px - 1) / 2.0 + 0.004 * c.width_px,
          (c.height_px - 1) / 2.0 - 0.003 * c.width_px,
          c.k1,
          c.k2,
          c.unit_px >= 2 ? 1 : 2,
          c.fisheye};
}

cv::Size2d covered(const FlightChoice& c) {
  const double width = c.width_px / c.unit_px, height = c.height_px / c.unit_px, border = 1.1 * width;
  return {width * (1 - c.overlap) * (c.columns - 1) + 2 * border,
          height * (1 - c.overlap) * (c.rows - 1) + 2 * border};
}

std::vector<Shot> fly(const FlightChoice& c, const std::string& prefix) {
  cv::RNG random(c.seed * 104729U + 11);
  const auto swing = [&] {
    return std::clamp(random.gaussian(c.swing_deg), -2 * c.swing_deg, 2 * c.swing_deg) * CV_PI / 180;
  };
  const double width = c.width_px / c.unit_px, border = 1.1 * width;
  const double step_x = width * (1 - c.overlap), step_y = c.height_px / c.unit_px * (1 - c.overlap);
  const double drift = random.uniform(-CV_PI, CV_PI);
  std::vector<Shot> shots;
  for (int r = 0; r < c.rows; ++r)
    for (int k = 0; k < c.columns; ++k) {
      const int column = r % 2 == 0 ? k : c.columns - 1 - k;
      char name[32];
      std::snprintf(name, sizeof name, "%s%03d.jpg", prefix.c_str(), int(shots.size()) + 1);
      const double height = c.focal_px / c.unit_px * std::pow(c.height_ratio, random.uniform(-0.5, 0.5));
      const Eigen::Vector3d centre(c.west + border + column * step_x + random.uniform(-0.06, 0.06) * width,
                                   c.south + border + r * step_y + random.uniform(-0.06, 0.06) * c.height_px,
                                   height);
      Shot s = shot(name, centre, drift + 0.3 * double(shots.size()) + random.uniform(-0.5, 0.5), swing(),
                    swing());
      s.exposure_stops = random.uniform(-c.exposure_stops, c.exposure_stops);
      s.sharp = random.uniform(0.0, 1.0) >= c.blurred_share;
      s.portrait = random.uniform(0.0, 1.0) < c.portrait_share;
      s.rig_in_view = c.rig_in_view;
      s.cloud_shadow = c.cloud_shadow;
      s.soft_corners_px = c.soft_corners_px;
      s.photon_noise = c.photon_noise;
      s.seed = c.seed * 1000 + unsigned(shots.size());
      shots.push_back(s);
    }
  return shots;
}

namespace {

cv::Mat take_along(const cv::Mat& directions, const Site& site, const PaintedCamera& camera, const Shot& s) {
  const double ground_px = s.centre.z() / camera.focal_px;
  const Layer ground(site.ground, ground_px / camera.samples);
  const Layer roofs(site.roofs.empty() ? site.ground : site.roofs, ground_px / camera.samples);
  cv::RNG random(s.seed * 31U + 7);
  const cv::Mat noise = cv::countNonZero(site.pond) > 0 ? fractal_noise({1024, 1024}, 48, 3, 0.85, s.seed)
                                                        : cv::Mat(1, 1, CV_32F, cv::Scalar(0));
  const Waves waves{noise, {random.uniform(0.0, 1024.0), random.uniform(0.0, 1024.0)}};
  const Eigen::Vector2d wind(random.gaussian(1.5), random.gaussian(1.5));
  constexpr double kCloudCell = 8;  // units of ground
  cv::Mat clouds;
  if (s.cloud_shadow > 0)
    clouds =
        fractal_noise({int(site.choice.width / kCloudCell) + 1, int(site.choice.height / kCloudCell) + 1}, 90,
                      20, 0.5, s.seed + 900);
  cv::Mat light(directions.size(), CV_32FC3);
  for (int y = 0; y < light.rows; ++y)
    for (int x = 0; x < light.cols; ++x) {
      const auto& d = directions.at<cv::Vec2f>(y, x);
      const Eigen::Vector3d ray = s.world_from_camera * Eigen::Vector3d(d[0], d[1], 1);
      cv::Vec3f& out = light.at<cv::Vec3f>(y, x);
      if (ray.z() >= -1e-3) {
        out = {230, 220, 210};
        continue;
      }
      const Eigen::Vector2d at_ground = meets_ground(site, s, ray);
      out = is_water(site, at_ground) ? cv::Vec3f(70, 62, 50) * (1 + 0.5F * waves.at(at_ground))
                                      : ground.at(at_ground);
      const Eigen::Vector2d lean = ray.head<2>() / ray.z(),
                            at_zero = s.centre.head<2>() - s.centre.z() * lean;
      for (const Shed& shed : site.sheds) {
        if (!passes_near(shed, at_zero, lean, at_ground)) continue;
        const Eigen::Vector2d at_roof = meets_roof(shed, s, ray);
        if (inside(shed, at_roof)) {
          out = roofs.at(at_roof);
        } else if (meets_wall(shed, at_roof, at_ground)) {
          out = {60, 62, 66};
        }
      }
      for (const Tree& tree : site.trees) (void)meets_tree(tree, site.leaves, s, ray, wind, out);
      if (!clouds.empty()) {
        const int column = std::clamp(int(at_ground.x() / kCloudCell), 0, clouds.cols - 1),
                  row = std::clamp(int(at_ground.y() / kCloudCell), 0, clouds.rows - 1);
        out *= float(1 - s.cloud_shadow * std::clamp(0.5 + 2.5 * clouds.at<float>(row, column), 0.0, 1.0));
      }
    }
  cv::Mat picture;
  cv::resize(light, picture, {camera.width_px, camera.height_px}, 0, 0, cv::INTER_AREA);
  cv::GaussianBlur(picture, picture, {}, s.sharp ? 0.5 : 4.0);
  if (s.soft_corners_px > 0) soften_corners(picture, s.soft_corners_px);
  if (s.rig_in_view) hold_rig_into(picture);
  picture = develop(picture, s.exposure_stops, s.photon_noise, s.seed);
  if (s.portrait) cv::rotate(picture, picture, cv::ROTATE_90_CLOCKWISE);
  return picture;
}

}  // namespace

cv::Mat take(const Site& site, const PaintedCamera& camera, const Shot& s) {
  return take_along(rays(camera), site, camera, s);
}

void take_all(const Site& site, const PaintedCamera& camera, const std::vector<Shot>& shots,
              const std::filesystem::path& folder) {
  std::filesystem::create_directories(folder);
  const cv::Mat directions = rays(camera);
  json truth;
  truth["camera"] = camera_words(camera);
  if (site.choice.ridge_height == 0) truth["relief"]["blocks"] = roofs_of(site);
  truth["eaves"] = roofs_of(site);
  truth["frames"] = truth["ground_points"] = json::array();
  for (double y = 0; y <= site.choice.height; y += 90)
    for (double x = 0; x <= site.choice.width; x += 90)
      truth["ground_points"].push_back({x, y, ground_height(site, x, y)});
  for (const Shot& s : shots) {
    cv::imwrite((folder / s.file).string(), take_along(directions, site, camera, s),
                {cv::IMWRITE_JPEG_QUALITY, 90});
    truth["frames"].push_back(
        {{"file", s.file},
         {"kind", "nadir"},
         {"sharp", s.sharp},
         {"camera", camera_words(s.portrait ? turned(camera) : camera)},
         {"rotation", numbers(s.portrait ? turned(s.world_from_camera) : s.world_from_camera)},
         {"centre_m", {s.centre.x(), s.centre.y(), s.centre.z()}}});
  }
  std::ofstream(folder / "truth.json") << truth.dump(1);
  if (!site.relief.empty() || site.choice.ridge_height > 0) write_surface(site, folder);
}

}  // namespace painted
