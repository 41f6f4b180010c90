#include "tests/bench/mosaic/truth_flight.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>

#include "pipeline/base/angles.h"
#include "pipeline/record/record_json.h"

namespace lookdown::bench {
namespace {

using nlohmann::json;

Camera camera_of(const json& truth) {
  Camera camera = camera_from_json(truth);
  camera.focal_from = "truth";
  return camera;
}

Pose shaken_pose(const json& frame, const Shake& shake, std::mt19937& random) {
  Pose pose;
  for (int i = 0; i < 9; ++i) pose.world_from_camera(i / 3, i % 3) = frame.at("rotation")[i];
  for (int i = 0; i < 3; ++i) pose.centre[i] = frame.at("centre_m")[i];
  std::normal_distribution<double> normal;
  Eigen::Vector3d turn;
  for (int i = 0; i < 3; ++i) pose.centre[i] += shake.centre_m * normal(random);
  for (int i = 0; i < 3; ++i) turn[i] = shake.rotation_deg * kDegree * normal(random);
  if (turn.norm() > 0)
    pose.world_from_camera =
        Eigen::AngleAxisd(turn.norm(), turn.normalized()).toRotationMatrix() * pose.world_from_camera;
  return pose;
}

struct Extent {
  double left = 1e30, right = -1e30, bottom = 1e30, top = -1e30;
  void take(double x, double y) {
    left = std::min(left, x), right = std::max(right, x);
    bottom = std::min(bottom, y), top = std::max(top, y);
  }
};

}  // namespace

FlightRecord flight_from_truth(const std::filesystem::path& folder, double gsd_m, const Shake& shake,
                               bool glare_masks, bool obliques, cv::Matx33d* mosaic_from_ground) {
  std::filesystem::path truth_file = folder / "truth.json";
  if (!std::filesystem::exists(truth_file)) truth_file = folder / "truth" / "truth.json";
  const json truth = json::parse(std::ifstream(truth_file));
  FlightRecord flight;
  const Camera camera = camera_of(truth.at("camera"));
  std::mt19937 random(shake.seed);
  Extent extent;
  std::vector<double> sample_distances;
  for (const json& frame : truth.at("frames")) {
    FrameRecord record;
    record.source.file = frame.at("file");
    record.source.path = folder / record.source.file;
    record.source.width_px = camera.width_px;
    record.source.height_px = camera.height_px;
    record.source.orientation = frame.value("orientation", 1);
    record.info.camera = camera;
    record.info.camera_id = "truth";
    record.info.taken_at_s = frame.value("time_s", 0.0);
    const std::string kind = frame.at("kind");
    const bool used = frame.at("sharp").get<bool>() && (kind == "nadir" || (obliques && kind == "oblique"));
    const Pose pose = shaken_pose(frame, shake, random);
    record.decision.view = kind == "nadir" ? View::nadir : View::oblique;
    record.decision.verdict = used ? Verdict::keep : Verdict::drop;
    if (used) {
      record.placement.placed = true;
      record.placement.group = 0;
      record.placement.camera = camera;
      record.placement.pose = pose;
      if (glare_masks && frame.contains("masks") && frame["masks"].is_object() &&
          frame["masks"].contains("glare")) {
        record.glare.emplace();
        record.glare->mask_file =
            std::filesystem::absolute(folder / frame["masks"]["glare"].get<std::string>()).string();
      }
      if (kind == "nadir") {
        const auto ground = ground_from_frame(pose, camera);
        for (const double x : {0.0, camera.width_px - 1.0})
          for (const double y : {0.0, camera.height_px - 1.0}) {
            const auto p = ground * camera.undistort({x, y});
            extent.take(p.x, p.y);
          }
        sample_distances.push_back(ground_sample_distance(pose, camera).across);
      }
    }
    flight.frames.push_back(record);
  }
  if (gsd_m <= 0) {
    std::nth_element(sample_distances.begin(), sample_distances.begin() + sample_distances.size() / 2,
                     sample_distances.end());
    gsd_m = sample_distances[sample_distances.size() / 2];
  }
  flight.placement.gsd_m = gsd_m;
  flight.placement.scale_from = "truth";
  flight.placement.north_from = "truth";
  flight.placement.crs = "EPSG:32638";
  flight.placement.mosaic_width_px = static_cast<int>(std::ceil((extent.right - extent.left) / gsd_m));
  flight.placement.mosaic_height_px = static_cast<int>(std::ceil((extent.top - extent.bottom) / gsd_m));
  flight.placement.geotransform = {extent.left, gsd_m, 0, extent.top, 0, -gsd_m};
  Eigen::Matrix3d mosaic_from_world;
  mosaic_from_world << 1 / gsd_m, 0, -extent.left / gsd_m - 0.5, 0, -1 / gsd_m, extent.top / gsd_m - 0.5, 0,
      0, 1;
  for (FrameRecord& frame : flight.frames)
    if (frame.placement.placed)
      frame.placement.mosaic_from_frame.matrix =
          mosaic_from_world * ground_from_frame(frame.placement.pose, frame.placement.camera).matrix;
  if (mosaic_from_ground != nullptr)
    for (int i = 0; i < 9; ++i) (*mosaic_from_ground)(i / 3, i % 3) = mosaic_from_world(i / 3, i % 3);
  return flight;
}

}  // namespace lookdown::bench
