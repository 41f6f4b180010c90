#include "flight.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "camera/blur.h"
#include "camera/frame_tracer.h"
#include "camera/sensor.h"
#include "light/sun.h"
#include "light/water.h"
#include "picture_files.h"
#include "site/noise.h"
#include "truth_files.h"

namespace render {
namespace {

namespace fs = std::filesystem;

Camera camera_of(const FlightRequest& request) {
  Camera camera;
  camera.width_px = request.width_px;
  camera.height_px = request.height_px;
  camera.fx_px = camera.fy_px = request.focal_35mm / 36.0 * request.width_px;
  RandomStream random(request.flight.seed, 51);
  // No lens is centred to the pixel.
  camera.cx_px = (request.width_px - 1) / 2.0 + random.uniform(-3, 3) * request.width_px / 1600;
  camera.cy_px = (request.height_px - 1) / 2.0 + random.uniform(-3, 3) * request.width_px / 1600;
  camera.fisheye = request.fisheye;
  camera.k1 = request.k1;
  camera.k2 = -0.12 * request.k1;
  camera.focal_35mm = request.focal_35mm;
  camera.focal_mm = std::round(request.focal_35mm / 1.53 * 10) / 10;
  return camera;
}

Weather weather_of(const FlightRequest& request, const SunPosition& sun) {
  Weather weather;
  weather.sun_elevation = radians(sun.elevation_deg);
  weather.sun_azimuth = radians(sun.azimuth_deg);
  weather.cloud_cover = request.cloud_cover;
  weather.cloud_shadow = request.cloud_shadow;
  weather.turbidity = request.turbidity;
  weather.wind_m_s = request.wind_m_s;
  weather.wind_heading = RandomStream(request.flight.seed, 53).uniform(0, 2 * kPi);
  weather.seed = request.flight.seed;
  return weather;
}

// Texels no larger than half a ground pixel from the lowest height, within a memory bound.
double texel_size(const Site& site, const Camera& camera, double lowest_m, double margin_m) {
  constexpr double kMostTexels = 70e6;
  const double area = (site.high.x - site.low.x + 2 * margin_m) * (site.high.y - site.low.y + 2 * margin_m);
  const double wanted = std::clamp(0.75 * lowest_m / camera.fx_px, 0.010, 0.2);
  return std::max(wanted, std::sqrt(area / kMostTexels));
}

// Bright paint just clips, mineral crust in full sun nearly does.
constexpr double kWhiteGain = 1.15;

void print_progress(size_t done, size_t total) {
  if (isatty(STDERR_FILENO)) fmt::print(stderr, "\r{}/{} frames{}", done, total, done == total ? "\n" : "");
}

}  // namespace

void render_flight(const FlightRequest& request) {
  const Camera camera = camera_of(request);
  FlightOptions options = request.flight;
  if (request.horizon_only) options.obliques = options.launch = 0;
  const double area = request.horizon_only ? 2000 : covered_area_m2(camera, options);
  const Site site = build_site(request.scene, options.seed, area);

  PlaceAndTime start;
  RandomStream random(options.seed, 55);
  const double elevation = request.sun_elevation_deg > 0 ? request.sun_elevation_deg : random.uniform(35, 60);
  start = with_sun_elevation(start, elevation, !request.afternoon);
  const SunPosition sun = sun_position(start);
  const Weather weather = weather_of(request, sun);
  const Sky sky(weather);
  Backdrop backdrop;
  backdrop.seed = options.seed;
  backdrop.country = request.scene == "shore" ? Country::coast : static_cast<Country>(random.integer(0, 1));
  const double slope = pond_mean_square_slope(request.wind_m_s);

  const std::vector<FramePlan> plans =
      request.horizon_only ? plan_horizon_set(site, camera, options) : plan_flight(site, camera, options);
  const double margin = request.horizon_only ? 5 : 14;
  const double texel = request.horizon_only ? 0.03 : texel_size(site, camera, options.height_low_m, margin);
  const GroundMap ground(site, sky.to_sun(), texel, margin);
  const fs::path folder(request.folder);
  fs::create_directories(folder);
  if (request.linear_light) fs::create_directories(folder / "light");
  if (request.masks || request.ground_picture) fs::create_directories(folder / "truth");

  SensorOptions sensor;
  sensor.noise = request.noise;
  sensor.corner_blur_px = 0.7 * request.width_px / 1600.0;
  std::vector<FrameTruth> truths;
  for (size_t i = 0; i < plans.size(); ++i) {
    FramePlan plan = plans[i];
    FrameTruth truth;
    truth.plan = plan;
    if (!request.only.empty() &&
        std::find(request.only.begin(), request.only.end(), int(i) + 1) == request.only.end()) {
      truths.push_back(truth);
      continue;
    }
    const std::unique_ptr<Sky> own_sky = plan.weather ? std::make_unique<Sky>(*plan.weather) : nullptr;
    const SceneView view{site,  ground,   own_sky ? *own_sky : sky, plan.backdrop ? *plan.backdrop : backdrop,
                         slope, plan.rods};
    TracedFrame traced = trace_frame(view, camera, plan.pose, plan.time_s, request.samples);
    traced.light = blurred(traced.light, plan.blur);
    traced.surface = blurred(traced.surface, plan.blur);
    // The camera holds back for white ground, and follows its meter by a third; over a horizon it follows it
    // fully.
    const double metered = metered_gain(traced.light);
    sensor.gain = plan.weather ? metered : kWhiteGain * std::cbrt(std::clamp(metered / kWhiteGain, 0.3, 4.0));
    plan.metered_ev = std::log2(sensor.gain / kWhiteGain);
    truth.plan = plan;
    const cv::Mat picture = develop(traced.light, plan, sensor);
    write_frame(folder / plan.file, picture, camera, plan, start);
    if (request.linear_light)
      cv::imwrite((folder / "light" / fs::path(plan.file).replace_extension(".png")).string(),
                  light_on_sensor(traced.light, plan, sensor));
    const FrameMasks masks = masks_of(traced.surface, picture);
    truth.glare_share = masks.glare_share;
    truth.water_share = masks.water_share;
    truth.crust_share = masks.crust_share;
    if (request.masks) {
      truth.has_masks = true;
      const std::string stem = (folder / "truth" / plan.file.substr(0, plan.file.rfind('.'))).string();
      cv::imwrite(stem + "_glare.png", masks.glare);
      cv::imwrite(stem + "_visible_glare.png", masks.visible_glare);
      cv::imwrite(stem + "_water.png", masks.water);
      cv::imwrite(stem + "_crust.png", masks.crust);
    }
    truths.push_back(truth);
    print_progress(i + 1, plans.size());
  }

  FlightTruth flight{request.scene, options.seed, "render_flight " + request.command,
                     start,         sun,          request.wind_m_s,
                     slope,         camera,       0};
  if (request.ground_picture) {
    flight.ground_gsd_m = request.ground_gsd_m;
    const SceneView view{site, ground, sky, backdrop, slope, {}};
    write_ground_picture(folder / "truth" / "ground.png", view, request.ground_gsd_m, kWhiteGain, false);
    if (request.linear_light)
      write_ground_picture(folder / "light" / "ground.png", view, request.ground_gsd_m, kWhiteGain, true);
  }
  write_truth(folder, flight, site, truths);
  write_control(folder, site, camera, truths);
}

}  // namespace render
