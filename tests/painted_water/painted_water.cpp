#include "painted_water.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "painted_reflection.h"
#include "painted_textures.h"

namespace painted {
namespace {

class Painter {
 public:
  explicit Painter(const Choice& choice)
      : choice_(choice),
        size_(choice.width_px, choice.height_px),
        lot_{std::mt19937(choice.seed * 7919u + 13u)} {}

  Scene paint() {
    scale_ = lot_.between(0.6, 1.8);  // ground size of things in pixels
    albedo_ = cv::Mat(size_, CV_32FC3);
    light_ = cv::Mat(size_, CV_32FC1, cv::Scalar(1));
    water_ = cv::Mat::zeros(size_, CV_8UC1);
    crust_ = cv::Mat::zeros(size_, CV_8UC1);
    choose_sun();
    lay_land();
    if (lot_.chance(choice_.water_chance)) {
      for (int i = 0, n = 1 + lot_.pick(3); i < n; ++i) lay_pond();
    } else {
      lay_crust(cv::Mat(size_, CV_8UC1, cv::Scalar(255)));
    }
    put_things();
    cast_shadows();
    choose_camera();
    if (choice_.light_seed) lot_.engine.seed(choice_.light_seed * 6007u + choice_.seed);
    reflected_ = reflected_light({water_, light_, sun_elevation_, sun_azimuth_, slope_, scale_}, lot_);
    return develop();
  }

 private:
  void choose_sun() {
    sun_elevation_ = choice_.sun_elevation_deg >= 0 ? choice_.sun_elevation_deg : lot_.between(20, 75);
    constexpr double kStates[] = {0.0004, 0.002, 0.006, 0.015, 0.03};
    slope_ = choice_.mean_square_slope >= 0 ? choice_.mean_square_slope
                                            : kStates[lot_.pick(5)] * lot_.between(0.6, 1.5);
    sun_azimuth_ = lot_.between(0, 2 * kPi);
  }

  void choose_camera() {
    gamma_ = lot_.between(0.85, 1.2);
    saturation_ = lot_.between(0.7, 1.35);
    grain_ = lot_.between(0.2, 2.5);
    for (double& gain : balance_) gain = lot_.between(0.88, 1.12);
  }

  void lay_land() {
    cover(lot_, size_, scale_).copyTo(albedo_);
    for (int i = 0, n = 1 + lot_.pick(4); i < n; ++i) {
      const cv::Mat mask = fractal(lot_, size_, lot_.between(100, 400), 3, 0.5) > lot_.between(0.2, 1.2);
      cover(lot_, size_, scale_).copyTo(albedo_, mask);
    }
  }

  cv::Mat outline() {
    cv::Mat shape = cv::Mat::zeros(size_, CV_8UC1);
    const cv::Point2f centre(static_cast<float>(lot_.between(0, size_.width)),
                             static_cast<float>(lot_.between(0, size_.height)));
    const float longest = static_cast<float>(lot_.between(0.3, 1.6) * size_.width);
    const cv::RotatedRect box(centre, {longest, longest * static_cast<float>(lot_.between(0.3, 1))},
                              static_cast<float>(lot_.between(0, 180)));
    if (lot_.chance(0.4)) {
      cv::ellipse(shape, box, cv::Scalar(255), cv::FILLED);
    } else {
      cv::Point2f corners[4];
      box.points(corners);
      std::vector<cv::Point> polygon;
      for (const auto& corner : corners) polygon.emplace_back(corner);
      cv::fillConvexPoly(shape, polygon, cv::Scalar(255));
    }
    cv::Mat soft;
    shape.convertTo(soft, CV_32FC1, 1 / 255.0);
    const double roundness = lot_.between(2, 30);
    cv::GaussianBlur(soft, soft, {0, 0}, roundness);
    soft += fractal(lot_, size_, 100, 4, 0.6) * lot_.between(0.0, 0.15);
    return soft > 0.5;
  }

  void lay_crust(const cv::Mat& where) {
    const double reach = lot_.between(-0.6, 1.2);
    cv::Mat patches = fractal(lot_, size_, lot_.between(20, 200), 2, lot_.between(0.6, 0.9)) > reach;
    patches &= where;
    const Colour white = colour_of(lot_.between(20, 70), lot_.between(0, 0.12), lot_.between(0.5, 0.95));
    cv::Mat grain = fractal(lot_, size_, lot_.between(10, 50), 1.5, 0.8) * lot_.between(0.02, 0.2);
    for (int y = 0; y < size_.height; ++y)
      for (int x = 0; x < size_.width; ++x)
        if (patches.at<uchar>(y, x)) {
          albedo_.at<Colour>(y, x) = white * std::exp(grain.at<float>(y, x));
          crust_.at<uchar>(y, x) = 255;
        }
  }

  void lay_pond() {
    const cv::Mat pond = outline();
    cv::Mat from_shore, to_shore;
    cv::distanceTransform(pond, from_shore, cv::DIST_L2, 5);
    cv::distanceTransform(255 - pond, to_shore, cv::DIST_L2, 5);
    const double margin = lot_.between(0, 90) * scale_;
    cv::Mat rim = (to_shore + noise(lot_, size_, 20) * 0.2 * margin) < margin;
    rim &= (255 - pond);
    if (lot_.chance(0.7)) cover(lot_, size_, scale_).copyTo(albedo_, rim);
    if (lot_.chance(0.6)) lay_crust(rim);

    // Light from below: deep colour, bottom shining through near the shore, drifting turbidity.
    double hue = lot_.between(20, 220), saturation = lot_.between(0.05, 0.75),
           albedo = std::exp(lot_.between(std::log(0.004), std::log(0.15)));
    if (lot_.chance(0.15)) hue = lot_.between(-30, 30);
    const double clarity = lot_.between(4, 90) * scale_;
    const cv::Mat drift = fractal(lot_, size_, 250, 20, 0.6) * lot_.between(0.02, 0.25),
                  bottom = cover(lot_, size_, scale_);
    for (int y = 0; y < size_.height; ++y)
      for (int x = 0; x < size_.width; ++x) {
        if (!pond.at<uchar>(y, x)) continue;
        const float through = static_cast<float>(std::exp(-from_shore.at<float>(y, x) / clarity));
        const Colour deep = colour_of(hue, saturation, albedo) * std::exp(drift.at<float>(y, x));
        albedo_.at<Colour>(y, x) = deep * (1 - through) + bottom.at<Colour>(y, x) * (0.7f * through);
        water_.at<uchar>(y, x) = 255;
        crust_.at<uchar>(y, x) = 0;
      }
    if (lot_.chance(0.45)) patches_in(pond);
    if (lot_.chance(0.35)) foam(pond, from_shore);
    if (lot_.chance(0.4)) flecks(pond);
  }

  // Weed and mud seen through the water.
  void patches_in(const cv::Mat& pond) {
    const cv::Mat where =
                      (fractal(lot_, size_, lot_.between(15, 120), 3, 0.6) > lot_.between(0.3, 1.8)) & pond,
                  weed = cover(lot_, size_, scale_);
    const float dim = static_cast<float>(lot_.between(0.15, 0.8));
    for (int y = 0; y < size_.height; ++y)
      for (int x = 0; x < size_.width; ++x)
        if (where.at<uchar>(y, x))
          albedo_.at<Colour>(y, x) =
              albedo_.at<Colour>(y, x) * (1 - dim) + weed.at<Colour>(y, x) * (0.6f * dim);
  }

  // Small white things that float: scum, leaves, birds.
  void flecks(const cv::Mat& pond) {
    for (int i = 0, n = 5 + lot_.pick(60); i < n; ++i) {
      const cv::Point at(lot_.pick(size_.width), lot_.pick(size_.height));
      const cv::RotatedRect blob(
          at, {static_cast<float>(lot_.between(2, 16)), static_cast<float>(lot_.between(1.5, 7))},
          static_cast<float>(lot_.between(0, 180)));
      if (!pond.at<uchar>(at)) continue;
      const float white = static_cast<float>(lot_.between(0.4, 0.9));
      cv::ellipse(albedo_, blob, cv::Scalar(white * 0.96, white, white), cv::FILLED);
    }
  }

  // Railings, lifts, masts: thin, straight, often white.
  void put_frame() {
    const cv::Point2f at(static_cast<float>(lot_.between(0, size_.width)),
                         static_cast<float>(lot_.between(0, size_.height)));
    const double angle = lot_.between(0, 2 * kPi), length = lot_.between(20, 160) * scale_,
                 width = lot_.between(10, 60) * scale_;
    const cv::Point2f along(static_cast<float>(std::cos(angle)), static_cast<float>(std::sin(angle))),
        across(-along.y, along.x);
    const float white = static_cast<float>(lot_.between(0.3, 0.95));
    const int thick = 1 + lot_.pick(4), rungs = 2 + lot_.pick(8);
    const auto bar = [&](cv::Point2f a, cv::Point2f b) {
      cv::line(albedo_, a, b, cv::Scalar(white, white, white), thick);
      cv::line(water_, a, b, cv::Scalar(0), thick);
      cv::line(crust_, a, b, cv::Scalar(0), thick);
    };
    const cv::Point2f far = across * static_cast<float>(width);
    for (int i = 0; i < rungs; ++i) {
      const cv::Point2f from = at + along * static_cast<float>(length * i / (rungs - 1));
      bar(from, from + far);
    }
    bar(at, at + along * static_cast<float>(length));
    bar(at + far, at + far + along * static_cast<float>(length));
  }

  void foam(const cv::Mat& pond, const cv::Mat& from_shore) {
    const cv::Mat streaks =
        fractal(lot_, size_, 30, 1.5, 0.95) + noise(lot_, size_, 6, 8, lot_.between(0, kPi));
    const double width = lot_.between(4, 40), limit = lot_.between(0.8, 2.2);
    for (int y = 0; y < size_.height; ++y)
      for (int x = 0; x < size_.width; ++x)
        if (pond.at<uchar>(y, x) && from_shore.at<float>(y, x) < width && streaks.at<float>(y, x) > limit)
          albedo_.at<Colour>(y, x) = Colour(0.7f, 0.72f, 0.72f);
  }

  void put_box(double length, double width, const Colour& colour, double rib_px, double rib_contrast) {
    const cv::RotatedRect box(
        {static_cast<float>(lot_.between(0, size_.width)), static_cast<float>(lot_.between(0, size_.height))},
        {static_cast<float>(length), static_cast<float>(width)}, static_cast<float>(lot_.between(0, 180)));
    cv::Point2f corners[4];
    box.points(corners);
    std::vector<cv::Point> polygon;
    for (const auto& corner : corners) polygon.emplace_back(corner);
    cv::Mat mask = cv::Mat::zeros(size_, CV_8UC1);
    cv::fillConvexPoly(mask, polygon, cv::Scalar(255));
    const double angle = box.angle * kPi / 180;
    for (int y = 0; y < size_.height; ++y)
      for (int x = 0; x < size_.width; ++x) {
        if (!mask.at<uchar>(y, x)) continue;
        const double along = x * std::cos(angle) + y * std::sin(angle);
        albedo_.at<Colour>(y, x) =
            colour * static_cast<float>(1 + rib_contrast * std::sin(2 * kPi * along / rib_px));
        water_.at<uchar>(y, x) = crust_.at<uchar>(y, x) = 0;
      }
    if (lot_.chance(0.7)) {
      // Its shadow, thrown away from the sun.
      const double reach = lot_.between(3, 40) * scale_;
      const cv::Matx23f shift(1, 0, -reach * std::cos(sun_azimuth_), 0, 1, -reach * std::sin(sun_azimuth_));
      cv::Mat shadow;
      cv::warpAffine(mask, shadow, shift, size_);
      shadow &= (255 - mask);
      light_.setTo(lot_.between(0.15, 0.4), shadow);
    }
  }

  void put_things() {
    for (int i = 0, n = lot_.pick(4); i < n; ++i)  // roofs
      put_box(lot_.between(60, 350) * scale_, lot_.between(40, 160) * scale_,
              colour_of(lot_.between(0, 360), lot_.chance(0.6) ? 0.03 : lot_.between(0, 0.4),
                        lot_.chance(0.5) ? lot_.between(0.5, 0.9) : lot_.between(0.05, 0.5)),
              lot_.between(4, 20), lot_.between(0, 0.15));
    for (int i = 0, n = lot_.pick(4); i < n; ++i) put_frame();
    for (int i = 0, n = lot_.pick(6); i < n; ++i)  // boards, boats, docks
      put_box(lot_.between(10, 200) * scale_, lot_.between(6, 25) * scale_,
              colour_of(lot_.between(0, 60), lot_.between(0, 0.3), lot_.between(0.3, 0.95)),
              lot_.between(3, 10), lot_.between(0, 0.2));
  }

  void cast_shadows() {
    if (!lot_.chance(0.5)) return;
    const cv::Mat mask = fractal(lot_, size_, lot_.between(60, 300), 4, 0.5) > lot_.between(0.6, 1.6);
    cv::Mat soft;
    mask.convertTo(soft, CV_32FC1, 1 / 255.0);
    cv::GaussianBlur(soft, soft, {0, 0}, lot_.between(0.8, 4));
    const double depth = lot_.between(0.5, 0.8);
    light_ = light_.mul(1 - depth * soft);
  }

  Scene develop() {
    Scene scene;
    scene.water = water_;
    scene.crust = crust_;
    scene.glare = cv::Mat::zeros(size_, CV_8UC1);
    scene.sun_elevation_deg = sun_elevation_;
    scene.mean_square_slope = slope_;
    cv::Mat below(size_, CV_32FC3);
    for (int y = 0; y < size_.height; ++y)
      for (int x = 0; x < size_.width; ++x) {
        const float l = light_.at<float>(y, x), shade = 1 - l;
        // Shade is lit by the blue sky.
        below.at<Colour>(y, x) =
            albedo_.at<Colour>(y, x).mul(Colour(l + 0.05f * shade, l + 0.02f * shade, l));
      }
    cv::Mat below_light, reflected_light;
    cv::transform(below, below_light, kLuminance);
    cv::transform(reflected_, reflected_light, kLuminance);
    cv::Mat picture = below + reflected_;
    std::vector<float> levels;
    for (int y = 0; y < size_.height; y += 7)
      for (int x = 0; x < size_.width; x += 7) levels.push_back(below_light.at<float>(y, x));
    std::nth_element(levels.begin(), levels.begin() + levels.size() * 6 / 10, levels.end());
    const double exposure = lot_.between(0.12, 0.4) / std::max(0.04f, levels[levels.size() * 6 / 10]);
    const cv::Scalar balance(exposure * balance_[0], exposure, exposure * balance_[1]);
    cv::multiply(picture, balance, picture);
    // What clips is lost sooner than what is only outshone.
    cv::Mat levels_now, clips;
    cv::transform(picture, levels_now, kLuminance);
    clips = levels_now > 1;
    scene.glare =
        (water_ > 0) & ((reflected_light > below_light * kGlareRatio + kGlareFloor) |
                        ((reflected_light > below_light * (0.5 * kGlareRatio) + kGlareFloor) & clips));
    scene.visible_glare = scene.glare & (reflected_light * exposure >= kVisibleReflection);
    cv::GaussianBlur(cv::min(picture, 6), picture, {0, 0}, lot_.between(0.4, 1.0));
    const cv::Mat stored = as_stored(picture, {saturation_, gamma_, grain_}, lot_);
    std::vector<uchar> coded;
    cv::imencode(".jpg", stored, coded, {cv::IMWRITE_JPEG_QUALITY, 78 + lot_.pick(18)});
    scene.bgr = cv::imdecode(coded, cv::IMREAD_COLOR);
    return scene;
  }

  static constexpr double kGlareRatio = 1.0;
  static constexpr double kGlareFloor = 0.002;
  static constexpr double kVisibleReflection = 0.045;  // of white: two stops below middle grey

  Choice choice_;
  cv::Size size_;
  Lot lot_;
  double scale_ = 1, sun_elevation_ = 45, sun_azimuth_ = 0, slope_ = 0.005;
  double gamma_ = 1, saturation_ = 1, grain_ = 1, balance_[2] = {1, 1};
  cv::Mat albedo_, light_, reflected_, water_, crust_;
};

}  // namespace

Scene paint(const Choice& choice) {
  return Painter(choice).paint();
}

}  // namespace painted
