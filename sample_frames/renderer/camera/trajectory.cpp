#include "camera/trajectory.h"

#include <fmt/format.h>

#include <algorithm>

#include "site/noise.h"

namespace render {
namespace {

constexpr double kWalkingSpeed = 1.1;  // m/s

double mean_height(const FlightOptions& o) {
  return 0.5 * (o.height_low_m + o.height_high_m) - 1.5;
}

FrameBlur random_blur(RandomStream& random, double size_factor, double half_share) {
  FrameBlur blur;
  const double draw = random.uniform();
  if (draw < 0.72) {
    blur.kind = BlurKind::smear;
    blur.smear_px = 3 * std::pow(20.0 / 3, random.uniform()) * size_factor;
    blur.smear_deg = random.uniform(0, 180);
    if (random.uniform() < 0.35) blur.spin_px = random.uniform(-0.5, 0.5) * blur.smear_px;
  } else {
    blur.kind = BlurKind::defocus;
    blur.radius_px = random.uniform(2.8, 8) * size_factor;
  }
  if (half_share > 0) blur.one_half = random.uniform() < half_share;
  return blur;
}

}  // namespace

double FramePlan::exposure_s() const {
  return std::pow(2.0, exposure_ev + metered_ev) * (200 / iso) * (f_number * f_number / 16) / 1250;
}

namespace {

// Free rotation of the rig, swing, and the camera's own habits.
void settle(FramePlan& frame, double height, Vec2 over, RandomStream& random) {
  frame.pose.centre = {over.x, over.y, height};
  frame.pose.rotation = look_down(frame.heading, frame.off_nadir, random.uniform(0, 2 * kPi));
}

void expose(FramePlan& frame, RandomStream& random, const FlightOptions& options) {
  frame.exposure_ev = std::round(random.normal() * options.exposure_steps * 3) / 3;
  frame.white_balance = 0.04 * random.normal();
  frame.quality = random.integer(options.quality_low, options.quality_high);
  static const double isos[] = {100, 200, 200, 400};
  frame.iso = isos[random.integer(0, 3)];
  static const double f_numbers[] = {3.5, 4, 4.5, 5};
  frame.f_number = f_numbers[random.integer(0, 3)];
  frame.seed = random.bits();
}

int random_orientation(RandomStream& random, bool portrait) {
  const double draw = random.uniform();
  if (!portrait || draw < 0.72) return 1;
  return draw < 0.86 ? 6 : (draw < 0.96 ? 8 : 3);
}

double height_at(double time_s, const FlightOptions& o) {
  const float n = fractal_noise(static_cast<float>(time_s / 70), 0.5F, 3, o.seed + 900);
  return o.height_low_m + (o.height_high_m - o.height_low_m) * clamp01((n - 0.22F) / 0.56F);
}

// Slack is left out: a few spans of cable across the view, and masts that stand above the horizon.
std::vector<Rod> cables_and_masts(Vec3 camera, double azimuth, RandomStream& random) {
  std::vector<Rod> rods;
  const Vec3 ahead{std::sin(azimuth), std::cos(azimuth), 0}, right{std::cos(azimuth), -std::sin(azimuth), 0};
  const int cables = random.integer(0, 4);
  const double away = random.uniform(25, 120), slant = random.uniform(-0.8, 0.8);
  const double height = camera.z + random.uniform(-12, 10);
  for (int i = 0; i < cables; ++i) {
    const Vec3 middle = camera + ahead * away;
    const Vec3 lift{0, 0, height - camera.z + 1.2 * i};
    const Vec3 reach = right * 200 + ahead * (200 * slant) + Vec3{0, 0, random.uniform(-8, 8)};
    rods.push_back(
        {middle + lift - reach, middle + lift + reach, random.uniform(0.015, 0.04), {0.05F, 0.05F, 0.055F}});
  }
  const int masts = random.integer(0, 3);
  for (int i = 0; i < masts; ++i) {
    const double distance = random.uniform(40, 400), side = random.uniform(-0.6, 0.6) * distance;
    const Vec3 foot = camera + ahead * distance + right * side;
    const double top = camera.z + distance * random.uniform(-0.02, 0.12);
    const float tone = static_cast<float>(random.uniform(0.05, 0.6));
    rods.push_back(
        {{foot.x, foot.y, 0}, {foot.x, foot.y, top}, random.uniform(0.1, 0.35), {tone, tone, tone}});
  }
  return rods;
}

void number_files(std::vector<FramePlan>& frames) {
  for (size_t i = 0; i < frames.size(); ++i) frames[i].file = fmt::format("A{:03}.jpg", i + 1);
}

}  // namespace

const char* name_of(FrameKind kind) {
  switch (kind) {
    case FrameKind::nadir:
      return "nadir";
    case FrameKind::oblique:
      return "oblique";
    case FrameKind::horizon:
      return "horizon";
    case FrameKind::launch:
      return "launch";
  }
  return "";
}

double FrameBlur::sigma_px() const {
  if (kind == BlurKind::smear) return smear_px / std::sqrt(12.0);
  return kind == BlurKind::defocus ? radius_px / 2 : 0;
}

Vec2 FrameBlur::motion_at(Vec2 from_centre, double half_diagonal_px) const {
  const double angle = radians(smear_deg), spin = spin_px / half_diagonal_px;
  return {smear_px * std::cos(angle) - spin * from_centre.y,
          -smear_px * std::sin(angle) + spin * from_centre.x};
}

double covered_area_m2(const Camera& camera, const FlightOptions& options) {
  const double h = mean_height(options);
  const double footprint = h * h * camera.width_px * camera.height_px / (camera.fx_px * camera.fy_px);
  return options.count * footprint * (1 - options.overlap) * (1 - options.overlap);
}

std::vector<FramePlan> plan_flight(const Site& site, const Camera& camera, const FlightOptions& options) {
  RandomStream random(options.seed, 17);
  const Vec2 size = site.high - site.low;
  const int nadir_count = std::max(1, options.count - options.obliques - options.launch);
  const int bursts = std::max(nadir_count >= 20 ? 1 : 0, nadir_count / 12);
  const int stations = nadir_count - bursts;
  const int passes = std::max(1, static_cast<int>(std::lround(std::sqrt(stations * size.y / size.x / 1.15))));
  std::vector<FramePlan> frames;
  double clock = 0;

  for (int i = 0; i < options.launch; ++i) {
    FramePlan frame;
    frame.kind = FrameKind::launch;
    frame.time_s = clock;
    frame.heading = random.uniform(0, 2 * kPi);
    frame.off_nadir = radians(random.uniform(2, 22));
    settle(frame, random.uniform(0.9, 1.25), {site.low.x - 4.5 + 0.8 * i, site.low.y - 4.2}, random);
    expose(frame, random, options);
    frames.push_back(frame);
    clock += 4;
  }
  clock += 60;

  const double size_factor = camera.width_px / 1600.0;
  double heading = random.uniform(0, 2 * kPi);
  Vec2 previous = site.low;
  double blur_debt = 0.5;
  for (int s = 0; s < stations; ++s) {
    const int pass = s * passes / stations;
    const int first = (pass * stations + passes - 1) / passes,
              last = ((pass + 1) * stations + passes - 1) / passes - 1;
    double along = last > first ? static_cast<double>(s - first) / (last - first) : 0.5;
    if (pass & 1) along = 1 - along;
    const double inset = 0.12;
    Vec2 over{site.low.x + size.x * (inset + (1 - 2 * inset) * along),
              site.low.y + size.y * (inset + (1 - 2 * inset) * (pass + 0.5 * (passes == 1)) /
                                                 std::max(1, passes - (passes > 1)))};
    over = over + Vec2{1.3 * random.normal(), 1.6 * random.normal()};
    clock += s == 0 ? 2 : length(over - previous) / kWalkingSpeed;
    previous = over;
    heading += random.normal() * 0.9;

    FramePlan frame;
    frame.time_s = clock;
    frame.heading = heading;
    frame.off_nadir = radians(options.swing_deg * std::pow(random.uniform(), 0.9));
    frame.orientation = random_orientation(random, options.portrait);
    settle(frame, height_at(clock, options), over, random);
    expose(frame, random, options);
    frame.kite_line = random.uniform() < 0.12;
    // Blurred frames are spread over the flight, each a random step within its share of stations.
    blur_debt += options.blurred_share * random.uniform(0.4, 1.6);
    if (blur_debt >= 1) {
      frame.blur = random_blur(random, size_factor, options.half_blurred_share);
      blur_debt -= 1;
    }
    frames.push_back(frame);

    const bool burst =
        bursts > 0 && s % (stations / bursts) == stations / bursts / 2 && int(frames.size()) < options.count;
    if (!burst) continue;
    FramePlan repeat = frame;
    repeat.repeat_of = fmt::format("index:{}", frames.size() - 1);
    clock += 0.7;
    repeat.time_s = clock;
    repeat.pose.centre =
        repeat.pose.centre + Vec3{0.2 * random.normal(), 0.2 * random.normal(), 0.1 * random.normal()};
    repeat.pose.rotation = turn(repeat.pose.rotation, {0, 0, 1}, radians(1.5 * random.normal()));
    repeat.pose.rotation = turn(repeat.pose.rotation, {1, 0, 0}, radians(0.7 * random.normal()));
    repeat.blur =
        random.uniform() < 0.3 ? random_blur(random, size_factor, options.half_blurred_share) : FrameBlur{};
    repeat.seed = random.bits();
    frames.push_back(repeat);
  }

  for (int i = 0; i < options.obliques; ++i) {
    clock += 9;
    FramePlan frame;
    frame.kind = FrameKind::oblique;
    frame.time_s = clock;
    const double azimuth = random.uniform(0, 2 * kPi);
    const Vec2 middle = (site.low + site.high) * 0.5;
    const Vec2 over = middle - Vec2{std::sin(azimuth), std::cos(azimuth)} * (0.45 * size.y);
    frame.heading = azimuth;
    frame.orientation = i == 1 && options.portrait ? 6 : 1;
    frame.pose.centre = {over.x, over.y, random.uniform(26, 42)};
    const double half_view =
        std::atan(0.5 * (frame.orientation == 1 ? camera.height_px : camera.width_px) / camera.fy_px);
    frame.pose.rotation = look_forward(azimuth, -random.uniform(0.45, 0.8) * half_view,
                                       radians(random.uniform(-9, 9)), frame.orientation);
    expose(frame, random, options);
    frames.push_back(frame);
  }
  if (int(frames.size()) > options.count) frames.resize(size_t(options.count));
  number_files(frames);
  for (FramePlan& frame : frames) {
    if (frame.kind != FrameKind::nadir)
      frame.off_nadir = std::acos(std::clamp(-frame.pose.rotation.forward.z, -1.0, 1.0));
    frame.off_nadir = std::acos(std::clamp(-frame.pose.rotation.forward.z, -1.0, 1.0));
    frame.heading = std::atan2(frame.pose.rotation.right.y, frame.pose.rotation.right.x);
    if (frame.repeat_of.starts_with("index:"))
      frame.repeat_of = frames[size_t(std::stoi(frame.repeat_of.substr(6)))].file;
  }
  return frames;
}

std::vector<FramePlan> plan_horizon_set(const Site& site, const Camera& camera,
                                        const FlightOptions& options) {
  RandomStream random(options.seed, 23);
  std::vector<FramePlan> frames;
  double clock = 0;
  while (int(frames.size()) < options.count) {
    FramePlan frame;
    frame.kind = FrameKind::horizon;
    frame.orientation = random_orientation(random, options.portrait);
    const double azimuth = random.uniform(0, 2 * kPi);
    const double pitch = radians(random.uniform() < 0.5 ? 12 * random.normal() : random.uniform(-35, 35));
    const double roll = radians(random.uniform() < 0.5 ? 8 * random.normal() : random.uniform(-60, 60));
    if (std::abs(pitch) > radians(35) || std::abs(roll) > radians(60)) continue;
    frame.pose.rotation = look_forward(azimuth, pitch, roll, frame.orientation);
    // The horizon has to cross the frame over a good part of its width and leave land and sky on either side.
    const HorizonLine line = horizon_of(camera, frame.pose.rotation, frame.orientation);
    if (!line.in_frame) continue;
    const double from_middle = std::abs(line.a * camera.cx_px + line.b * camera.cy_px + line.c);
    if (from_middle > 0.42 * camera.height_px) continue;
    clock += 4;
    frame.time_s = clock;
    frame.heading = azimuth;
    frame.pose.centre = {random.uniform(site.low.x, site.high.x), random.uniform(site.low.y, site.high.y),
                         random.uniform(20, 60)};
    expose(frame, random, options);
    frame.kite_line = random.uniform() < 0.15;
    if (random.uniform() < options.blurred_share)
      frame.blur = random_blur(random, camera.width_px / 1600.0, 0);
    Weather weather;
    weather.seed = random.bits() & 0xFFFF;
    weather.sun_elevation = radians(random.uniform(12, 65));
    weather.sun_azimuth = random.uniform(0, 2 * kPi);
    weather.cloud_cover = random.uniform(0, 1);
    weather.turbidity = random.uniform();
    weather.visibility_m = 3000 * std::pow(12.0, random.uniform());
    frame.weather = weather;
    Backdrop backdrop;
    backdrop.country = static_cast<Country>(random.integer(0, 5));
    backdrop.seed = random.bits() & 0xFFFF;
    if (backdrop.country == Country::hills) backdrop.hill_height_deg = random.uniform(0.6, 3.2);
    if (backdrop.country == Country::fields || backdrop.country == Country::town)
      backdrop.hill_height_deg = random.uniform() < 0.3 ? random.uniform(0.2, 0.6) : 0;
    // Thick haze hides a sea horizon from everybody: such frames would have no answer.
    if (backdrop.country == Country::sea)
      frame.weather->visibility_m = std::max(frame.weather->visibility_m, 12000.0);
    frame.backdrop = backdrop;
    frame.exposure_ev += random.uniform(-0.5, 1.1);
    if (random.uniform() < 0.45) frame.rods = cables_and_masts(frame.pose.centre, azimuth, random);
    frame.off_nadir = std::acos(std::clamp(-frame.pose.rotation.forward.z, -1.0, 1.0));
    frames.push_back(frame);
  }
  number_files(frames);
  return frames;
}

}  // namespace render
