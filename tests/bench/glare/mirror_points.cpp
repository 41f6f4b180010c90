// Scores where frames see the sun mirrored, and the tilt that follows, on flights whose truth is known:
//   mirror_points [--each] [--tiles] FLIGHT...
// A flight is a folder with truth.json. Prints how many frames have glitter (the true mirror point in the
// frame, on water, and glare about it by the truth's masks), how
// many tell their mirror point, its error, and the off-nadir angle's error when straight down is known
// beforehand from how the other frames hang (true tilts of the others) alone; errors in standard deviations
// squared should average 1.
// --tiles: the folders hold pictures without truth; counts those that claim a mirror point for an assumed
// camera and a sun 60 degrees high.
#include <fmt/format.h>

#include <Eigen/Geometry>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "pipeline/geometry/sun_and_water.h"
#include "pipeline/record/record_json.h"
#include "stages/cull/cull.h"
#include "stages/glare/glare.h"
#include "stages/level/mirror_tilt.h"

namespace {

using namespace lookdown;
namespace fs = std::filesystem;
using nlohmann::json;

struct Errors {
  std::vector<double> deg, squares;
  void add(double error_deg, double sigma_deg, int freedoms = 1) {
    deg.push_back(std::abs(error_deg));
    squares.push_back(error_deg * error_deg / (sigma_deg * sigma_deg) / freedoms);
  }
  void print(const char* what) const {
    if (deg.empty()) return;
    std::vector<double> sorted = deg;
    std::sort(sorted.begin(), sorted.end());
    double sum = 0;
    for (const double s : squares) sum += s;
    fmt::print("  {:<32} n {:4}  median {:.2f}  p90 {:.2f}  worst {:.2f} deg, chi square {:.2f}\n", what,
               deg.size(), sorted[sorted.size() / 2], sorted[sorted.size() * 9 / 10], sorted.back(),
               sum / static_cast<double>(squares.size()));
  }
};

struct Tally {
  int frames = 0, glittering = 0, told = 0, told_without = 0;
  Errors mirror, circle, habit, habit_alone;
  void print(const std::string& name) const {
    fmt::print(
        "{}: {} frames, {} with the mirror point on water in sight, {} of these told, {} others told\n", name,
        frames, glittering, told, told_without);
    mirror.print("mirror point");
    circle.print("its distance from straight down");
    habit.print("off-nadir angle, with habit");
    habit_alone.print("off-nadir angle, habit alone");
  }
};

std::optional<glare::Found> searched(const fs::path& path, const FrameInfo& info,
                                     const std::optional<SunPosition>& sun) {
  const FrameReader reader;
  FrameSource source;
  source.path = path;
  source.file = path.filename().string();
  const auto header = reader.header(path);
  if (!header) return std::nullopt;
  source.width_px = header->width_px;
  source.height_px = header->height_px;
  FramePixels pixels(reader, source);
  glare::Circumstances known;
  known.sharpness = cull::measure(pixels);
  known.sun = sun;
  return glare::find(pixels, info, known, {});
}

double between_deg(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  return std::atan2(a.cross(b).norm(), a.dot(b)) / kDegree;
}

/// Glare of the frame within some degrees of the true mirror point, as a share of the water there; -1 without
/// water.
double glare_about(const fs::path& folder, const json& frame, const FrameReader& reader, const Camera& camera,
                   const Eigen::Vector3d& mirror) {
  constexpr double kNearDeg = 4;
  if (!frame.contains("masks") || frame["masks"].is_null()) return -1;
  const auto water = reader.grey(folder / frame["masks"]["water"].get<std::string>()),
             glare = reader.grey(folder / frame["masks"]["visible_glare"].get<std::string>());
  if (!water || !glare) return -1;
  int wet = 0, bright = 0, near = 0;
  for (int y = 4; y < water->rows; y += 8)
    for (int x = 4; x < water->cols; x += 8) {
      if (between_deg(camera.ray(camera.undistort({double(x), double(y)})), mirror) > kNearDeg) continue;
      ++near;
      wet += water->at<uchar>(y, x) > 0;
      bright += glare->at<uchar>(y, x) > 0;
    }
  return near > 0 && wet > near / 4 ? static_cast<double>(bright) / wet : -1;
}

void score(const fs::path& folder, bool each, Tally& all) {
  const json truth = json::parse(std::ifstream(folder / "truth.json"));
  const SunPosition sun{truth.at("sun").at("elevation_deg"), truth.at("sun").at("azimuth_deg")};
  const Camera camera = camera_from_json(truth.at("camera"));
  const FrameReader reader;
  FlightRecord flight;
  std::vector<const json*> frames;
  for (const json& f : truth.at("frames"))
    if (f.at("kind") == "nadir" && f.at("sharp")) frames.push_back(&f);
  Tally here;
  std::vector<Eigen::Vector3d> downs;
  for (const json* f : frames) {
    FrameRecord frame;
    Pose pose;
    for (int i = 0; i < 9; ++i) pose.world_from_camera(i / 3, i % 3) = f->at("rotation").at(i);
    const Eigen::Vector3d down = down_in_camera(pose);
    downs.push_back(down);
    frame.source.file = f->at("file");
    frame.info.camera = camera;
    frame.tilt = Tilt{{down.x(), down.y(), down.z()}, off_nadir_deg(pose), 0.3, "truth"};
    flight.frames.push_back(frame);
  }
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const json& f = *frames[i];
    Pose pose;
    for (int k = 0; k < 9; ++k) pose.world_from_camera(k / 3, k % 3) = f.at("rotation").at(k);
    const Eigen::Vector3d mirror = pose.world_from_camera.transpose() * *mirror_ray(sun);
    const auto found = searched(folder / flight.frames[i].source.file, flight.frames[i].info, sun);
    const double about = glare_about(folder, f, reader, camera, mirror);
    const bool glitters = about > 0.01;
    ++here.frames;
    here.glittering += glitters;
    const bool told = found && found->glare.mirror_point;
    here.told += glitters && told;
    here.told_without += !glitters && told;
    if (each)
      fmt::print("  {} glare about the mirror point {:.3f}, found {:.4f}", flight.frames[i].source.file,
                 about, found ? found->glare.glare_share : -1);
    if (told) {
      const MirrorPoint& m = *found->glare.mirror_point;
      const Eigen::Vector3d seen(m.toward[0], m.toward[1], m.toward[2]);
      const double sigma_deg = std::max(0.3, m.sigma_deg), off_deg = between_deg(seen, mirror);
      here.mirror.add(off_deg, sigma_deg, 2);
      here.circle.add(between_deg(seen, downs[i]) - (90 - sun.elevation_deg), sigma_deg);
      FlightRecord others = flight;
      others.frames[i].tilt.reset();
      others.frames[i].glare = found->glare;
      others.frames[i].sun = Sun{sun.elevation_deg, sun.azimuth_deg};
      const auto habit = level::habit_of_rig(others.frames, "");
      level::narrow_by_mirror_points(others);
      const double true_deg = flight.frames[i].tilt->off_nadir_deg;
      if (others.frames[i].tilt) {
        here.habit.add(others.frames[i].tilt->off_nadir_deg - true_deg, others.frames[i].tilt->sigma_deg);
        here.habit_alone.add(std::acos(habit->down.z()) / kDegree - true_deg, habit->sigma_rad / kDegree);
      }
      if (each) {
        fmt::print(", mirror point off by {:.2f} +- {:.2f}", off_deg, m.sigma_deg);
        if (others.frames[i].tilt)
          fmt::print(", tilt {:.1f} +- {:.1f}, is {:.1f}", others.frames[i].tilt->off_nadir_deg,
                     others.frames[i].tilt->sigma_deg, true_deg);
      }
    }
    if (each) fmt::print("\n");
  }
  here.print(folder.filename().string());
  all.frames += here.frames, all.glittering += here.glittering, all.told += here.told,
      all.told_without += here.told_without;
  for (const auto part : {&Tally::mirror, &Tally::circle, &Tally::habit, &Tally::habit_alone}) {
    Errors &to = all.*part, &from = here.*part;
    to.deg.insert(to.deg.end(), from.deg.begin(), from.deg.end());
    to.squares.insert(to.squares.end(), from.squares.begin(), from.squares.end());
  }
}

void count_tiles(const fs::path& folder) {
  std::vector<fs::path> paths;
  for (const auto& entry : fs::directory_iterator(folder)) paths.push_back(entry.path());
  std::sort(paths.begin(), paths.end());
  int pictures = 0, told = 0;
  for (const fs::path& path : paths) {
    const auto header = FrameReader().header(path);
    if (!header) continue;
    FrameInfo info;
    info.camera = assumed_camera(header->width_px, header->height_px);
    const auto found = searched(path, info, SunPosition{60, 180});
    ++pictures;
    if (!found || !found->glare.mirror_point) continue;
    ++told;
    const MirrorPoint& m = *found->glare.mirror_point;
    fmt::print("  {} claims ({:.2f}, {:.2f}) +- {:.1f} deg, glare {:.4f}\n", path.filename().string(),
               m.toward[0], m.toward[1], m.sigma_deg, found->glare.glare_share);
  }
  fmt::print("{}: {} pictures, {} claim a mirror point\n", folder.string(), pictures, told);
}

}  // namespace

int main(int count, char** words) {
  bool each = false, tiles = false;
  Tally all;
  for (int i = 1; i < count; ++i) {
    const std::string word = words[i];
    if (word == "--each")
      each = true;
    else if (word == "--tiles")
      tiles = true;
    else if (tiles)
      count_tiles(word);
    else
      score(word, each, all);
  }
  if (all.frames > 0) all.print("all");
  return 0;
}
