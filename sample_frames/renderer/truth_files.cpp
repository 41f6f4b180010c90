#include "truth_files.h"

#include <fmt/format.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "site/people.h"
#include "site/solids.h"

namespace render {
namespace {

using nlohmann::json;

constexpr const char* kVersion = "1.0";

json frame_json(const FrameTruth& truth, const Camera& camera) {
  const FramePlan& plan = truth.plan;
  const FrameBlur& blur = plan.blur;
  static const char* kinds[] = {"none", "smear", "defocus"};
  json frame = {{"file", plan.file},
                {"kind", name_of(plan.kind)},
                {"sharp", blur.kind == BlurKind::none},
                {"rotation", plan.pose.rotation.row_major()},
                {"centre_m", {plan.pose.centre.x, plan.pose.centre.y, plan.pose.centre.z}},
                {"off_nadir_deg", degrees(plan.off_nadir)},
                {"height_m", plan.pose.centre.z},
                {"heading_deg", degrees(plan.heading)},
                {"orientation", plan.orientation},
                {"time_s", plan.time_s},
                {"exposure_ev", plan.exposure_ev},
                {"white_balance", plan.white_balance},
                {"jpeg_quality", plan.quality},
                {"kite_line", plan.kite_line},
                {"repeat_of", plan.repeat_of.empty() ? json(nullptr) : json(plan.repeat_of)},
                {"blur",
                 {{"kind", kinds[static_cast<int>(blur.kind)]},
                  {"smear_px", blur.kind == BlurKind::smear ? blur.smear_px : 0},
                  {"smear_deg", blur.smear_deg},
                  {"sigma_px", blur.sigma_px()},
                  {"spin_px", blur.spin_px},
                  {"defocus_radius_px", blur.radius_px},
                  {"one_half", blur.one_half}}},
                {"water_share", truth.water_share},
                {"glare_share", truth.glare_share},
                {"crust_share", truth.crust_share}};
  const HorizonLine line = horizon_of(camera, plan.pose.rotation, plan.orientation);
  const bool forward = plan.kind == FrameKind::oblique || plan.kind == FrameKind::horizon;
  frame["horizon"] = forward && line.in_frame ? json{{"a", line.a},
                                                     {"b", line.b},
                                                     {"c", line.c},
                                                     {"roll_deg", line.roll_deg},
                                                     {"pitch_deg", line.pitch_deg}}
                                              : json(nullptr);
  const std::string stem = plan.file.substr(0, plan.file.rfind('.'));
  frame["masks"] = truth.has_masks ? json{{"glare", "truth/" + stem + "_glare.png"},
                                          {"visible_glare", "truth/" + stem + "_visible_glare.png"},
                                          {"water", "truth/" + stem + "_water.png"},
                                          {"crust", "truth/" + stem + "_crust.png"}}
                                   : json(nullptr);
  if (plan.weather)
    frame["sun"] = {{"elevation_deg", degrees(plan.weather->sun_elevation)},
                    {"azimuth_deg", degrees(plan.weather->sun_azimuth)}};
  if (plan.backdrop)
    frame["country"] = {{"kind", name_of(plan.backdrop->country)},
                        {"hill_height_deg", plan.backdrop->hill_height_deg}};
  return frame;
}

json relief_json(const Site& site) {
  json relief;
  json blocks = json::array();
  const Block* longest = nullptr;
  for (const Block& block : site.blocks) {
    const double c = std::cos(block.heading), s = std::sin(block.heading);
    json outline = json::array();
    for (const auto& [u, v] : {std::pair{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}) {
      const double x = u * block.half_length_m, y = v * block.half_width_m;
      outline.push_back({block.centre.x + c * x - s * y, block.centre.y + s * x + c * y});
    }
    blocks.push_back({{"height_m", block.height_m}, {"outline", outline}});
    if (!longest ||
        block.half_length_m * block.half_width_m > longest->half_length_m * longest->half_width_m) {
      longest = &block;
      relief["roof_height_m"] = block.height_m;
      relief["roof_outline"] = outline;
    }
  }
  relief["blocks"] = blocks;
  return relief;
}

// Of a stored pixel, linear light, white 1: sRGB curve of IEC 61966-2-1.
double luminance_of(const cv::Vec3b& stored) {
  static const std::array<double, 256> kLinear = [] {
    std::array<double, 256> linear{};
    for (size_t level = 0; level < linear.size(); ++level) {
      const double v = static_cast<double>(level) / 255.0;
      linear[level] = v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
    }
    return linear;
  }();
  return 0.0722 * kLinear[stored[0]] + 0.7152 * kLinear[stored[1]] + 0.2126 * kLinear[stored[2]];
}

json ground_points_json(const Site& site) {
  json points = json::array();
  constexpr int kAcross = 12, kUp = 9;
  for (int j = 0; j < kUp; ++j)
    for (int i = 0; i < kAcross; ++i) {
      const Vec2 p{site.low.x + (site.high.x - site.low.x) * (i + 0.5) / kAcross,
                   site.low.y + (site.high.y - site.low.y) * (j + 0.5) / kUp};
      points.push_back({p.x, p.y, 0.0});
    }
  return points;
}

}  // namespace

FrameMasks masks_of(const cv::Mat& surface, const cv::Mat& picture) {
  FrameMasks masks{cv::Mat(surface.size(), CV_8U),
                   cv::Mat(surface.size(), CV_8U),
                   cv::Mat(surface.size(), CV_8U),
                   cv::Mat(surface.size(), CV_8U),
                   0,
                   0,
                   0};
  for (int y = 0; y < surface.rows; ++y)
    for (int x = 0; x < surface.cols; ++x) {
      const cv::Vec4f s = surface.at<cv::Vec4f>(y, x);
      const cv::Vec3b p = picture.at<cv::Vec3b>(y, x);
      const bool clips = p[0] >= 254 && p[1] >= 254 && p[2] >= 254;
      const bool water = s[2] > 0.5F;
      const bool glare = water && s[0] > (clips ? kGlareRatioClipped : kGlareRatio) * s[1];
      masks.water.at<uint8_t>(y, x) = water ? 255 : 0;
      const double reflection = s[0] / std::max(1e-9F, s[0] + s[1]) * luminance_of(p);
      masks.glare.at<uint8_t>(y, x) = glare ? 255 : 0;
      masks.visible_glare.at<uint8_t>(y, x) = glare && reflection >= kVisibleReflection ? 255 : 0;
      masks.crust.at<uint8_t>(y, x) = s[3] > 0.5F ? 255 : 0;
    }
  const double count = static_cast<double>(surface.total());
  masks.glare_share = cv::countNonZero(masks.glare) / count;
  masks.water_share = cv::countNonZero(masks.water) / count;
  masks.crust_share = cv::countNonZero(masks.crust) / count;
  return masks;
}

void write_truth(const std::filesystem::path& folder, const FlightTruth& flight, const Site& site,
                 const std::vector<FrameTruth>& frames) {
  const Camera& c = flight.camera;
  json root = {
      {"scene", flight.scene},
      {"seed", flight.seed},
      {"renderer_version", kVersion},
      {"command", flight.command},
      {"place",
       {{"lat_deg", flight.start.lat_deg},
        {"lon_deg", flight.start.lon_deg},
        {"utc_offset_h", flight.start.utc_offset_h}}},
      {"start", local_time(flight.start, 0, '-', 'T')},
      {"sun", {{"elevation_deg", flight.sun.elevation_deg}, {"azimuth_deg", flight.sun.azimuth_deg}}},
      {"wind_m_s", flight.wind_m_s},
      {"wave_mean_square_slope", flight.mean_square_slope},
      {"glare_definition",
       {{"text",
         "water pixel (more than half covered) whose luminance reflected from sun and sky, in linear light "
         "after blur, exceeds `ratio` times all other light of the pixel; `ratio_clipped` where all three "
         "stored channels are at least 254"},
        {"ratio", kGlareRatio},
        {"ratio_clipped", kGlareRatioClipped},
        {"visible_text", "glare whose reflected luminance alone is at least `visible_reflection` of white"},
        {"visible_reflection", kVisibleReflection}}},
      {"horizon_definition", "line at infinity of the horizontal plane (no dip, no hills)"},
      {"camera",
       {{"width_px", c.width_px},
        {"height_px", c.height_px},
        {"fx_px", c.fx_px},
        {"fy_px", c.fy_px},
        {"cx_px", c.cx_px},
        {"cy_px", c.cy_px},
        {"projection", c.fisheye ? "equidistant" : "rectilinear"},
        {"k1", c.k1},
        {"k2", c.k2},
        {"p1", c.p1},
        {"p2", c.p2},
        {"k3", c.k3},
        {"focal_mm", c.focal_mm},
        {"focal_35mm", c.focal_35mm}}},
      {"relief", relief_json(site)},
      {"ground_points", ground_points_json(site)},
      {"site", {{"x0_m", site.low.x}, {"y0_m", site.low.y}, {"x1_m", site.high.x}, {"y1_m", site.high.y}}}};
  root["ground"] = {{"file", flight.ground_gsd_m > 0 ? json("truth/ground.png") : json(nullptr)},
                    {"gsd_m", flight.ground_gsd_m},
                    {"x0_m", site.low.x + flight.ground_gsd_m / 2},
                    {"y1_m", site.high.y - flight.ground_gsd_m / 2}};
  root["frames"] = json::array();
  for (const FrameTruth& frame : frames) root["frames"].push_back(frame_json(frame, c));
  std::ofstream(folder / "truth.json") << root.dump(1) << '\n';
}

void write_control(const std::filesystem::path& folder, const Site& site, const Camera& camera,
                   const std::vector<FrameTruth>& frames) {
  std::ofstream control(folder / "control.csv"), marks(folder / "marks.csv");
  control << "name,x,y,z\n";
  marks << "file,name,x_px,y_px\n";
  for (const Board& board : site.boards)
    control << fmt::format("{},{:.4f},{:.4f},0\n", board.name, board.centre.x, board.centre.y);
  for (const FrameTruth& frame : frames) {
    // A person marks boards in frames where they can be told: straight down and sharp.
    if (frame.plan.kind != FrameKind::nadir || frame.plan.blur.kind != BlurKind::none) continue;
    for (const Board& board : site.boards) {
      const Vec3 at{board.centre.x, board.centre.y, 0};
      const Vec3 in_camera = frame.plan.pose.rotation.to_camera(at - frame.plan.pose.centre);
      if (in_camera.z <= 0) continue;
      const Vec2 px = project(camera, in_camera);
      constexpr double kInset = 12;
      if (px.x < kInset || px.y < kInset || px.x > camera.width_px - 1 - kInset ||
          px.y > camera.height_px - 1 - kInset)
        continue;
      const Vec3 sight = unit(at - frame.plan.pose.centre);
      bool hidden = false;
      const double reach = length(at - frame.plan.pose.centre) - 0.05;
      const auto in_way = [&](const std::optional<SolidHit>& hit) { return hit && hit->distance_m < reach; };
      for (const Block& block : site.blocks)
        hidden = hidden || in_way(hit_block(block, frame.plan.pose.centre, sight));
      for (const Blob& blob : site.blobs)
        hidden = hidden || in_way(hit_blob(blob, frame.plan.pose.centre, sight));
      for (const Blob& blob : people_at(site, frame.plan.time_s))
        hidden = hidden || in_way(hit_blob(blob, frame.plan.pose.centre, sight));
      if (!hidden) marks << fmt::format("{},{},{:.3f},{:.3f}\n", frame.plan.file, board.name, px.x, px.y);
    }
  }
}

Vec2 write_ground_picture(const std::filesystem::path& path, const SceneView& scene, double gsd_m,
                          double gain, bool linear_light) {
  const Site& site = scene.site;
  const int width = static_cast<int>((site.high.x - site.low.x) / gsd_m),
            height = static_cast<int>((site.high.y - site.low.y) / gsd_m);
  const Vec2 first{site.low.x + gsd_m / 2, site.high.y - gsd_m / 2};
  cv::Mat picture(height, width, CV_32FC3);
  const auto coded = [&](float v) {
    double x = std::clamp(static_cast<double>(v) * gain, 0.0, 1.0);
    if (linear_light) return static_cast<float>(x);
    x = std::min(1.0, x * (1 + 0.35 * (1 - x)));
    return static_cast<float>(x <= 0.0031308 ? 12.92 * x : 1.055 * std::pow(x, 1 / 2.4) - 0.055);
  };
  tbb::parallel_for(0, height, [&](int y) {
    for (int x = 0; x < width; ++x) {
      const Vec2 at{first.x + x * gsd_m, first.y - y * gsd_m};
      const Rgb light = straight_down_light(scene, at, gsd_m);
      picture.at<cv::Vec3f>(y, x) = {coded(light.b), coded(light.g), coded(light.r)};
    }
  });
  cv::Mat levels;
  picture.convertTo(levels, linear_light ? CV_16U : CV_8U, linear_light ? 65535 : 255);
  cv::imwrite(path.string(), levels);
  return first;
}

}  // namespace render
