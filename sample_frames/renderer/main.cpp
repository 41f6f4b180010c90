// render_flight: renders the frames of an invented flight with everything known about them.
#include <fmt/format.h>
#include <CLI/CLI.hpp>

#include <cstdio>
#include <filesystem>
#include <opencv2/core/utility.hpp>
#include <string>

#include "flight.h"

int main(int argc, char** argv) {
  render::FlightRequest request;
  CLI::App app("Renders the frames of an invented low-altitude flight, with their truth.");
  app.add_option("--scene", request.scene, "works, yard, gravel, marsh, pans, meadow or shore")
      ->capture_default_str();
  app.add_option("--seed", request.flight.seed, "decides layout, path, weather and noise")
      ->capture_default_str();
  app.add_option("--count", request.flight.count, "number of frames")
      ->capture_default_str()
      ->check(CLI::Range(1, 100000));
  app.add_option("--width", request.width_px, "frame width in pixels")
      ->capture_default_str()
      ->check(CLI::Range(64, 20000));
  app.add_option("--height", request.height_px, "frame height in pixels")
      ->capture_default_str()
      ->check(CLI::Range(64, 20000));
  app.add_option("--focal-35mm", request.focal_35mm, "focal length, 35 mm equivalent by frame width")
      ->capture_default_str();
  app.add_option("--low", request.flight.height_low_m, "lowest height in metres")->capture_default_str();
  app.add_option("--high", request.flight.height_high_m, "greatest height in metres")->capture_default_str();
  app.add_option("--swing-deg", request.flight.swing_deg, "largest off-nadir angle")->capture_default_str();
  app.add_option("--overlap", request.flight.overlap, "mean overlap along and across, 0..0.95")
      ->capture_default_str();
  app.add_option("--blurred-share", request.flight.blurred_share, "share of blurred frames")
      ->capture_default_str();
  app.add_option("--half-blurred-share", request.flight.half_blurred_share,
                 "share of the blurred frames that are blurred in their lower half only")
      ->capture_default_str();
  app.add_option("--sun-elevation", request.sun_elevation_deg, "degrees; moves the start time")
      ->capture_default_str();
  app.add_flag("--afternoon", request.afternoon, "sun in the west instead of the east");
  app.add_option("--wind", request.wind_m_s, "wind speed in m/s, roughens the water")->capture_default_str();
  app.add_option("--cloud-shadow", request.cloud_shadow, "how much of the sun drifting clouds take, 0..1")
      ->capture_default_str()
      ->check(CLI::Range(0.0, 1.0));
  app.add_option("--clouds", request.cloud_cover, "cloud cover 0..1")->capture_default_str();
  app.add_option("--haze", request.turbidity, "0 deep blue sky .. 1 milky")->capture_default_str();
  app.add_option("--distortion", request.k1, "radial distortion k1")->capture_default_str();
  app.add_flag("--fisheye", request.fisheye, "an equidistant lens in place of a rectilinear one");
  app.add_option("--exposure-steps", request.flight.exposure_steps, "spread of the exposure in stops")
      ->capture_default_str();
  app.add_option("--obliques", request.flight.obliques, "oblique frames with a horizon")
      ->capture_default_str();
  app.add_option("--launch", request.flight.launch, "frames of grass before the start")
      ->capture_default_str();
  app.add_flag("--horizon-only", request.horizon_only,
               "forward-looking frames, each with its own weather and country");
  app.add_option("--quality-low", request.flight.quality_low, "lowest JPEG quality")->capture_default_str();
  app.add_option("--quality-high", request.flight.quality_high, "highest JPEG quality")
      ->capture_default_str();
  app.add_option("--noise", request.noise, "factor on the sensor noise")->capture_default_str();
  app.add_option("--samples", request.samples, "rays a pixel are the square of this")
      ->capture_default_str()
      ->check(CLI::Range(1, 8));
  app.add_flag("--masks", request.masks, "write glare, water and crust masks");
  app.add_flag("--light", request.linear_light,
               "write 16-bit linear light of every frame and of the ground too");
  app.add_flag("--ground", request.ground_picture, "write the straight-down truth picture");
  app.add_option("--ground-gsd", request.ground_gsd_m, "pixel size of that picture in metres")
      ->capture_default_str();
  app.add_option("--only", request.only, "render only these frame numbers (truth is written for all)");
  app.add_option("-o,--out", request.folder, "folder to write into")->required();
  CLI11_PARSE(app, argc, argv);
  // The frames are rendered one after another and threaded inside by oneTBB.
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "-o" || word == "--out") {
      ++i;
      continue;
    }
    request.command += (request.command.empty() ? "" : " ") + word;
  }
  try {
    render::render_flight(request);
  } catch (const std::exception& error) {
    fmt::print(stderr, "render_flight: {}\n", error.what());
    return 3;
  }
  return 0;
}
