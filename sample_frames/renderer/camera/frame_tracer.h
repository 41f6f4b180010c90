// Casts rays from a camera into the scene: one frame in linear light, with what the truth masks need beside
// it.
#pragma once

#include <opencv2/core.hpp>
#include <span>

#include "camera/camera.h"
#include "light/backdrop.h"
#include "light/sky.h"
#include "site/ground/ground_map.h"
#include "site/site.h"

namespace render {

struct TracedFrame {
  cv::Mat light;    // CV_32FC3, blue green red, 1 = white diffuser in full sun
  cv::Mat surface;  // CV_32FC4: luminance reflected by water, luminance of all else, water share, crust share
};

struct SceneView {
  const Site& site;
  const GroundMap& ground;
  const Sky& sky;
  const Backdrop& backdrop;
  double mean_square_slope;
  std::span<const Rod> rods;  // of this frame alone
};

// `samples` x `samples` rays a pixel.
TracedFrame trace_frame(const SceneView& scene, const Camera& camera, const Pose& pose, double time_s,
                        int samples);

// Light that leaves the ground plane straight up, without clouds, people, waves or anything that stands.
Rgb straight_down_light(const SceneView& scene, Vec2 at, double footprint_m);

}  // namespace render
