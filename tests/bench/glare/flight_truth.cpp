#include "flight_truth.h"

#include <fstream>
#include <nlohmann/json.hpp>

#include "pipeline/geometry/pose.h"

namespace scoring {

using lookdown::Homography;
using nlohmann::json;

TruthFlight read_truth(const std::filesystem::path& folder) {
  const json truth = json::parse(std::ifstream(folder / "truth.json"));
  TruthFlight flight;
  flight.name = folder.filename();
  flight.sun_elevation_deg = truth.at("sun").at("elevation_deg");
  flight.sun_azimuth_deg = truth.at("sun").at("azimuth_deg");
  flight.mean_square_slope = truth.value("wave_mean_square_slope", 0.0);
  const json& c = truth.at("camera");
  lookdown::Camera camera;
  camera.width_px = c.at("width_px");
  camera.height_px = c.at("height_px");
  camera.fx_px = c.at("fx_px");
  camera.fy_px = c.at("fy_px");
  camera.cx_px = c.at("cx_px");
  camera.cy_px = c.at("cy_px");
  camera.k1 = c.at("k1");
  camera.k2 = c.at("k2");
  camera.p1 = c.at("p1");
  camera.p2 = c.at("p2");
  camera.k3 = c.at("k3");
  for (const json& f : truth.at("frames")) {
    if (!f.contains("masks") || f.at("masks").is_null()) continue;
    TruthFrame frame;
    frame.picture = folder / f.at("file").get<std::string>();
    frame.water = folder / f.at("masks").at("water").get<std::string>();
    frame.glare = folder / f.at("masks").at("glare").get<std::string>();
    frame.crust = folder / f.at("masks").at("crust").get<std::string>();
    if (f.at("masks").contains("visible_glare"))
      frame.visible_glare = folder / f.at("masks").at("visible_glare").get<std::string>();
    frame.nadir = f.at("kind") == "nadir";
    frame.sharp = f.at("sharp");
    lookdown::Pose pose;
    for (int i = 0; i < 9; ++i) pose.world_from_camera(i / 3, i % 3) = f.at("rotation").at(i);
    for (int i = 0; i < 3; ++i) pose.centre(i) = f.at("centre_m").at(i);
    constexpr double kPixelsPerM = 50;
    Homography<lookdown::MosaicPx, lookdown::Ground> mosaic_from_ground;
    mosaic_from_ground.matrix << kPixelsPerM, 0, 0, 0, -kPixelsPerM, 0, 0, 0, 1;
    frame.place.camera = camera;
    frame.place.pose = pose;
    frame.place.mosaic_from_frame = mosaic_from_ground * lookdown::ground_from_frame(pose, camera);
    flight.frames.push_back(frame);
  }
  return flight;
}

}  // namespace scoring
