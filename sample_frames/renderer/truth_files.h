// What the renderer knows: truth.json, the control and mark tables, the masks and the ground picture.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "camera/camera.h"
#include "camera/frame_tracer.h"
#include "camera/trajectory.h"
#include "light/sun.h"

namespace render {

// Water whose reflected sun and sky is brighter than kGlareRatio times what else reaches the pixel, or which
// clips while the reflection is at least half as bright as the rest.
inline constexpr double kGlareRatio = 1.0;
inline constexpr double kGlareRatioClipped = 0.5;
// Of that, glare in plain sight: the reflection alone is at least this bright, white being 1. Two stops below
// middle grey (0.18) is the darkest tone that still shows texture (zone III of the zone system, common
// practice); a fainter reflection leaves dark water dark.
inline constexpr double kVisibleReflection = 0.045;

struct FrameMasks {
  cv::Mat glare, visible_glare, water, crust;  // CV_8U, 0 or 255
  double glare_share, water_share, crust_share;
};
// `surface` as TracedFrame::surface after the frame's blur; `picture` the developed frame.
FrameMasks masks_of(const cv::Mat& surface, const cv::Mat& picture);

struct FlightTruth {
  std::string scene;
  uint32_t seed;
  std::string command;
  PlaceAndTime start;
  SunPosition sun;
  double wind_m_s, mean_square_slope;
  Camera camera;
  double ground_gsd_m = 0;  // 0: no ground picture
};

struct FrameTruth {
  FramePlan plan;
  double glare_share = 0, water_share = 0, crust_share = 0;
  bool has_masks = false;
};

void write_truth(const std::filesystem::path& folder, const FlightTruth& flight, const Site& site,
                 const std::vector<FrameTruth>& frames);
void write_control(const std::filesystem::path& folder, const Site& site, const Camera& camera,
                   const std::vector<FrameTruth>& frames);

// Straight-down picture of the lit ground without glint, people or relief, as the camera would code it or in
// linear light of 16 bits; returns its top-left pixel centre.
Vec2 write_ground_picture(const std::filesystem::path& path, const SceneView& scene, double gsd_m,
                          double gain, bool linear_light);

}  // namespace render
