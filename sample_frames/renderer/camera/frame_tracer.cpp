#include "camera/frame_tracer.h"

#include <tbb/parallel_for.h>

#include <algorithm>

#include "light/water.h"
#include "site/materials.h"
#include "site/noise.h"
#include "site/people.h"
#include "site/solids.h"

namespace render {
namespace {

constexpr int kTile = 32;

struct Seen {
  Rgb light;
  float reflected = 0, other = 0, water = 0, crust = 0;
};

enum class SolidKind : uint8_t { block, blob, rod };
struct SolidRef {
  SolidKind kind;
  const void* solid;
  Vec3 centre;
  double radius;
};

// A board's own albedo where one lies at the point.
bool board_albedo(const Site& site, Vec2 at, Rgb& albedo) {
  for (const Board& board : site.boards) {
    const Vec2 off = at - board.centre;
    if (std::abs(off.x) > board.side_m || std::abs(off.y) > board.side_m) continue;
    const double c = std::cos(board.heading), s = std::sin(board.heading);
    const double u = c * off.x + s * off.y, v = -s * off.x + c * off.y;
    if (std::abs(u) > board.side_m / 2 || std::abs(v) > board.side_m / 2) continue;
    albedo = (u > 0) == (v > 0) ? Rgb{0.82F, 0.82F, 0.80F} : Rgb{0.035F, 0.035F, 0.037F};
    return true;
  }
  return false;
}

class Tracer {
 public:
  Tracer(const SceneView& scene, const Camera& camera, const Pose& pose, double time_s)
      : scene_(scene),
        camera_(camera),
        pose_(pose),
        time_s_(time_s),
        people_(people_at(scene.site, time_s)),
        surface_(scene.mean_square_slope, scene.sky.weather().wind_heading, time_s, scene.site.seed * 3 + 1),
        open_sea_{{0.9F, 0.5F, 0.45F}, {0.018F, 0.04F, 0.045F}, 30, 1, 6, 0} {
    list_solids();
  }

  void render_tile(int x0, int y0, int x1, int y1, int samples, TracedFrame& frame) const {
    const std::vector<SolidRef> near = solids_near(x0, y0, x1, y1);
    for (int y = y0; y < y1; ++y)
      for (int x = x0; x < x1; ++x) {
        Seen sum;
        for (int j = 0; j < samples; ++j)
          for (int i = 0; i < samples; ++i) {
            const Vec2 pixel{x + (i + 0.5) / samples - 0.5, y + (j + 0.5) / samples - 0.5};
            const Vec3 ray = ray_of(camera_, pixel);
            const Seen seen = look(unit(pose_.rotation.to_world(ray)), near, 1.0 / (camera_.fx_px * samples));
            sum.light = sum.light + seen.light;
            sum.reflected += seen.reflected;
            sum.other += seen.other;
            sum.water += seen.water;
            sum.crust += seen.crust;
          }
        const float share = 1.0F / static_cast<float>(samples * samples);
        frame.light.at<cv::Vec3f>(y, x) = {sum.light.b * share, sum.light.g * share, sum.light.r * share};
        frame.surface.at<cv::Vec4f>(y, x) = {sum.reflected * share, sum.other * share, sum.water * share,
                                             sum.crust * share};
      }
  }

 private:
  void list_solids() {
    const auto add_blob = [&](const Blob& blob) {
      solids_.push_back({SolidKind::blob, &blob, blob.centre, std::max(blob.radius_m, blob.half_height_m)});
    };
    for (const Block& b : scene_.site.blocks) {
      const double half = 0.5 * (b.height_m - b.base_m);
      solids_.push_back(
          {SolidKind::block,
           &b,
           {b.centre.x, b.centre.y, b.base_m + half},
           std::sqrt(b.half_length_m * b.half_length_m + b.half_width_m * b.half_width_m + half * half)});
    }
    for (const Blob& blob : scene_.site.blobs) add_blob(blob);
    for (const Blob& blob : people_) add_blob(blob);
    for (const Rod& rod : scene_.rods)
      solids_.push_back(
          {SolidKind::rod, &rod, (rod.from + rod.to) * 0.5, 0.5 * length(rod.to - rod.from) + rod.radius_m});
  }

  // Solids whose bounding sphere can show in the tile.
  std::vector<SolidRef> solids_near(int x0, int y0, int x1, int y1) const {
    std::vector<SolidRef> near;
    for (const SolidRef& solid : solids_) {
      const Vec3 c = pose_.rotation.to_camera(solid.centre - pose_.centre);
      if (c.z + solid.radius < 0) continue;
      if (c.z < 1.3 * solid.radius + 0.1 || length(c) < 1.3 * solid.radius) {
        near.push_back(solid);
        continue;
      }
      const double slant = 1 + (c.x * c.x + c.y * c.y) / (c.z * c.z);
      if (slant > 6) continue;
      const Vec2 at = project(camera_, c);
      const double reach = camera_.fx_px * solid.radius / (c.z - solid.radius) * slant + 30;
      if (at.x + reach > x0 && at.x - reach < x1 && at.y + reach > y0 && at.y - reach < y1)
        near.push_back(solid);
    }
    return near;
  }

  Seen look(Vec3 direction, const std::vector<SolidRef>& near, double angle_per_sample) const {
    double distance = direction.z < -1e-5 ? -pose_.centre.z / direction.z : 1e9;
    const SolidRef* found = nullptr;
    SolidHit hit{};
    for (const SolidRef& solid : near) {
      std::optional<SolidHit> candidate;
      if (solid.kind == SolidKind::block)
        candidate = hit_block(*static_cast<const Block*>(solid.solid), pose_.centre, direction);
      if (solid.kind == SolidKind::blob)
        candidate = hit_blob(*static_cast<const Blob*>(solid.solid), pose_.centre, direction);
      if (solid.kind == SolidKind::rod)
        candidate = hit_rod(*static_cast<const Rod*>(solid.solid), pose_.centre, direction);
      if (candidate && candidate->distance_m < distance) {
        distance = candidate->distance_m;
        hit = *candidate;
        found = &solid;
      }
    }
    Seen seen;
    if (found)
      seen = solid_seen(*found, hit, direction, angle_per_sample * distance);
    else if (distance < 1e8)
      seen = ground_seen(direction, distance, angle_per_sample);
    else
      return sky_seen(direction);
    const float haze = 1 - std::exp(static_cast<float>(-distance / scene_.sky.weather().visibility_m));
    seen.light = mix(seen.light, scene_.sky.horizon_haze(direction), haze);
    return seen;
  }

  Seen sky_seen(Vec3 direction) const {
    Seen seen;
    const double elevation = std::asin(std::clamp(direction.z, -1.0, 1.0));
    if (elevation < radians(4)) {
      const double azimuth = std::atan2(direction.x, direction.y);
      const Skyline line = skyline_at(scene_.backdrop, azimuth);
      const Rgb haze = scene_.sky.horizon_haze(direction);
      const Rgb daylight = scene_.sky.sun_irradiance() + scene_.sky.sky_irradiance();
      const auto visibility = static_cast<float>(scene_.sky.weather().visibility_m);
      if (elevation < line.trees) {
        const float leaf =
            value_noise(static_cast<float>(azimuth * 3000), static_cast<float>(elevation * 3000), 5);
        seen.light =
            mix(Rgb{0.035F, 0.05F, 0.02F} * daylight * (0.5F + leaf), haze, 1 - std::exp(-2500 / visibility));
        return seen;
      }
      if (elevation < line.hills) {
        const float slope = fractal_noise(static_cast<float>(azimuth * 60),
                                          static_cast<float>(elevation * 160), 6, scene_.backdrop.seed, 0.6F);
        seen.light = mix(Rgb{0.06F, 0.075F, 0.035F} * daylight * (0.3F + 1.4F * slope), haze,
                         1 - std::exp(-9000 / visibility));
        return seen;
      }
    }
    seen.light = scene_.sky.radiance({direction.x, direction.y, std::max(0.0, direction.z)});
    seen.other = luminance(seen.light);
    return seen;
  }

  Seen solid_seen(const SolidRef& solid, const SolidHit& hit, Vec3 direction, double footprint) const {
    const Vec3 at = pose_.centre + direction * hit.distance_m;
    const Sky& sky = scene_.sky;
    Rgb albedo;
    if (solid.kind == SolidKind::block) {
      const Block& block = *static_cast<const Block*>(solid.solid);
      albedo = hit.is_roof ? roof_albedo(block, hit.u_m, hit.v_m, footprint)
                           : wall_albedo(block, hit.u_m, at.z, footprint);
    } else if (solid.kind == SolidKind::blob) {
      const Blob& blob = *static_cast<const Blob*>(solid.solid);
      albedo = blob.albedo;
      if (blob.leafy) {
        const float leaves =
            fractal_noise(static_cast<float>((at.x + 0.4 * at.z) / 0.09),
                          static_cast<float>((at.y - 0.3 * at.z) / 0.09), 4, blob.seed, 0.75F);
        albedo = albedo * (0.15F + 2.2F * leaves * leaves);
      }
    } else {
      albedo = static_cast<const Rod*>(solid.solid)->albedo;
    }
    const float slant =
        static_cast<float>(std::max(0.0, dot(hit.normal, sky.to_sun())) / std::max(0.1, sky.to_sun().z));
    const float clouds = sky.sun_through_clouds(at.x, at.y, time_s_);
    const float open = static_cast<float>(0.5 + 0.5 * hit.normal.z);
    Seen seen;
    seen.light =
        albedo * (sky.sun_irradiance() * (slant * clouds) + sky.sky_irradiance() * (0.35F + 0.65F * open));
    seen.other = luminance(seen.light);
    return seen;
  }

  float person_shadow(Vec2 at) const {
    const Vec3 from{at.x, at.y, 0.01};
    for (const Blob& blob : people_)
      if (std::abs(blob.centre.x - at.x) < 5 && std::abs(blob.centre.y - at.y) < 5 &&
          hit_blob(blob, from, scene_.sky.to_sun()))
        return 0;
    return 1;
  }

  Seen ground_seen(Vec3 direction, double distance, double angle_per_sample) const {
    const Vec3 hit = pose_.centre + direction * distance;
    const Vec2 at{hit.x, hit.y};
    // Geometric mean of the footprint along and across the line of sight.
    const double footprint = angle_per_sample * distance / std::sqrt(std::max(1e-4, -direction.z));
    const Vec2 low = scene_.ground.low(), high = scene_.ground.high();
    const bool painted = at.x > low.x && at.y > low.y && at.x < high.x && at.y < high.y;
    const Sky& sky = scene_.sky;
    GroundSample ground;
    const Pond* pond = &open_sea_;
    double shelter = 1;
    if (painted) {
      ground = scene_.ground.at(at, footprint);
      if (footprint < 0.002 && ground.water == 0)
        ground.albedo = close_grass(at.x, at.y, scene_.site.seed) * scene_.site.base_tint;
      if (ground.pond >= 0) {
        pond = &scene_.site.ponds[size_t(ground.pond)];
        shelter = pond->shelter;
      }
      Rgb board;
      if (board_albedo(scene_.site, at, board)) ground.albedo = board;
    } else {
      const BackdropPoint far = backdrop_at(scene_.backdrop, at, footprint, length(at - (low + high) * 0.5));
      // Around the site its own open ground goes on for a while.
      const double beyond = std::max({low.x - at.x, at.x - high.x, low.y - at.y, at.y - high.y});
      const float rough =
          fractal_noise(static_cast<float>(at.x / 9), static_cast<float>(at.y / 9), 4, scene_.site.seed);
      const float leave = smoothstep(26, 30, static_cast<float>(beyond) + 24 * (rough - 0.5F));
      ground.albedo = leave < 1 ? mix(scene_.ground.at(at, footprint).albedo, far.albedo, leave) : far.albedo;
      ground.water = far.water * leave;
      ground.depth_m = 3;
    }
    const float sun_share =
        ground.sun_visible * sky.sun_through_clouds(at.x, at.y, time_s_) * person_shadow(at);
    const Rgb daylight = sky.sun_irradiance() * sun_share + sky.sky_irradiance();
    const float wet = ground.water * (1 - ground.foam);
    Seen seen;
    const Rgb dry_albedo = ground.water > 0.004F ? mix(ground.albedo, Rgb{0.74F, 0.73F, 0.69F},
                                                       clamp01(ground.foam * ground.water))
                                                 : ground.albedo;
    seen.light = dry_albedo * daylight * (1 - wet);
    seen.other = luminance(seen.light);
    if (wet > 0.004F) {
      const WaterSurface::Slope slope = surface_.at(at, footprint, shelter);
      const double shift = 0.25 * ground.depth_m;  // refraction bends the line of sight to the bottom
      Rgb bottom = ground.albedo;
      if (painted && ground.depth_m < 1.2 && footprint < 0.1)
        bottom = scene_.ground.at({at.x - shift * slope.x, at.y - shift * slope.y}, footprint).albedo;
      const WaterLight light = water_light(sky, *pond, slope, direction, bottom, ground.depth_m, sun_share);
      seen.light = seen.light + (light.leaving + light.reflected) * wet;
      seen.reflected = luminance(light.reflected) * wet;
      seen.other += luminance(light.leaving) * wet;
    }
    seen.water = ground.water;
    seen.crust = ground.crust;
    return seen;
  }

  const SceneView& scene_;
  const Camera& camera_;
  const Pose& pose_;
  double time_s_;
  std::vector<Blob> people_;
  WaterSurface surface_;
  Pond open_sea_;
  std::vector<SolidRef> solids_;
};

}  // namespace

Rgb straight_down_light(const SceneView& scene, Vec2 at, double footprint_m) {
  GroundSample ground = scene.ground.at(at, footprint_m);
  Rgb board;
  if (board_albedo(scene.site, at, board)) ground.albedo = board;
  const Rgb daylight = scene.sky.sun_irradiance() * ground.sun_visible + scene.sky.sky_irradiance();
  const float wet = ground.water * (1 - ground.foam);
  const Rgb dry =
      mix(ground.albedo, Rgb{0.74F, 0.73F, 0.69F}, clamp01(ground.foam * ground.water)) * daylight;
  if (ground.pond < 0 || wet < 0.004F) return dry;
  // A mirror-flat surface, the sun out of the way: the 2 % of the sky overhead that it reflects are in every
  // picture taken without a polarizer.
  const WaterLight light = water_light(scene.sky, scene.site.ponds[size_t(ground.pond)], {0, 0, 0},
                                       {0, 0, -1}, ground.albedo, ground.depth_m, ground.sun_visible);
  return mix(dry, light.leaving + light.reflected, wet);
}

TracedFrame trace_frame(const SceneView& scene, const Camera& camera, const Pose& pose, double time_s,
                        int samples) {
  TracedFrame frame{cv::Mat(camera.height_px, camera.width_px, CV_32FC3),
                    cv::Mat(camera.height_px, camera.width_px, CV_32FC4)};
  const Tracer tracer(scene, camera, pose, time_s);
  const int tiles_x = (camera.width_px + kTile - 1) / kTile, tiles_y = (camera.height_px + kTile - 1) / kTile;
  tbb::parallel_for(0, tiles_x * tiles_y, [&](int tile) {
    const int x0 = tile % tiles_x * kTile, y0 = tile / tiles_x * kTile;
    tracer.render_tile(x0, y0, std::min(x0 + kTile, camera.width_px), std::min(y0 + kTile, camera.height_px),
                       samples, frame);
  });
  return frame;
}

}  // namespace render
