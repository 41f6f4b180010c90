#include "tests/unit/mosaic/small_flight.h"

#include <fmt/format.h>
#include <unistd.h>

#include <Eigen/Geometry>
#include <atomic>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "pipeline/geometry/pose.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/radiometry/colour_model.h"

namespace lookdown::test {
namespace {

constexpr double kGsdM = 0.01;
constexpr int kWidth = 240, kHeight = 180;

std::filesystem::path fresh_folder() {
  static std::atomic<int> serial{0};
  auto folder =
      std::filesystem::temp_directory_path() / fmt::format("lookdown-mosaic-{}-{}", ::getpid(), serial++);
  std::filesystem::create_directories(folder / "masks");
  return folder;
}

/// Smooth random colours with detail down to about 3 px, 60..190.
cv::Mat invented_ground(cv::Size size) {
  cv::RNG random(7);
  cv::Mat ground(size, CV_32FC3, cv::Scalar::all(125));
  for (const double sigma : {1.2, 5.0, 20.0}) {
    cv::Mat noise(size, CV_32FC3);
    random.fill(noise, cv::RNG::NORMAL, 0, 1);
    cv::GaussianBlur(noise, noise, {}, sigma);
    ground += noise * (12 * sigma * 3.5);
  }
  cv::Mat bytes;
  cv::Mat(cv::min(cv::max(ground, 60), 190)).convertTo(bytes, CV_8U);
  return bytes;
}

Camera small_camera() {
  Camera camera;
  camera.width_px = kWidth;
  camera.height_px = kHeight;
  camera.fx_px = camera.fy_px = 220;
  camera.cx_px = 121;
  camera.cy_px = 88;
  camera.k1 = -0.03;
  return camera;
}

cv::Mat seen_frame(const FrameRecord& frame, const cv::Mat& ground, const std::array<double, 3>& gain,
                   double vignetting) {
  const Camera& camera = frame.placement.camera;
  cv::Mat map(kHeight, kWidth, CV_32FC2);
  for (int y = 0; y < kHeight; ++y)
    for (int x = 0; x < kWidth; ++x) {
      const auto m = frame.placement.mosaic_from_frame *
                     camera.undistort({static_cast<double>(x), static_cast<double>(y)});
      map.at<cv::Vec2f>(y, x) = {static_cast<float>(m.x), static_cast<float>(m.y)};
    }
  cv::Mat seen;
  cv::remap(ground, seen, map, cv::noArray(), cv::INTER_CUBIC, cv::BORDER_REFLECT);
  const double half_diagonal = 0.5 * std::hypot(kWidth, kHeight);
  for (int y = 0; y < kHeight; ++y)
    for (int x = 0; x < kWidth; ++x) {
      const double radius = std::hypot(x - camera.cx_px, y - camera.cy_px) / half_diagonal;
      for (int channel = 0; channel < 3; ++channel) {
        uchar& code = seen.at<cv::Vec3b>(y, x)[channel];
        const double light =
            mosaic::linear_from_srgb(code) * gain[channel] * std::exp(-vignetting * radius * radius);
        code = cv::saturate_cast<uchar>(mosaic::srgb_from_linear(std::min(light, 1.0)));
      }
    }
  return seen;
}

}  // namespace

SmallFlight::~SmallFlight() {
  std::error_code ignored;
  if (!out.empty()) std::filesystem::remove_all(out, ignored);
}

SmallFlight make_small_flight(const SmallFlightPlan& plan) {
  SmallFlight flight;
  flight.out = fresh_folder();
  constexpr int kStepX = 110, kStepY = 90, kRim = 70;
  const cv::Size size(2 * kRim + kWidth + (plan.columns - 1) * kStepX,
                      2 * kRim + kHeight + (plan.rows - 1) * kStepY);
  flight.ground = invented_ground(size);
  flight.record.placement.mosaic_width_px = size.width;
  flight.record.placement.mosaic_height_px = size.height;
  flight.record.placement.gsd_m = kGsdM;
  flight.record.placement.north_from = "arbitrary";
  flight.record.placement.geotransform = {440720, kGsdM, 0, 3751320, 0, -kGsdM};
  flight.record.placement.crs = "EPSG:32611";
  Eigen::Matrix3d mosaic_from_ground;
  mosaic_from_ground << 1 / kGsdM, 0, -0.5, 0, -1 / kGsdM, -0.5, 0, 0, 1;
  for (int i = 0; i < plan.columns * plan.rows; ++i) {
    FrameRecord frame;
    frame.source.file = fmt::format("P{:02}.png", i);
    frame.source.path = flight.out / frame.source.file;
    frame.source.width_px = kWidth;
    frame.source.height_px = kHeight;
    frame.info.taken_at_s = 1000 + i;
    frame.info.taken_at = fmt::format("2025-05-14T10:00:{:02}", i);
    frame.info.camera_id = "one";
    frame.decision.view = View::nadir;
    frame.decision.verdict = Verdict::keep;
    frame.placement.placed = true;
    frame.placement.group = 0;
    frame.placement.camera = small_camera();
    const Eigen::Vector3d centre((kRim + kWidth / 2.0 + (i % plan.columns) * kStepX) * kGsdM,
                                 -(kRim + kHeight / 2.0 + (i / plan.columns) * kStepY) * kGsdM,
                                 (2.1 + 0.1 * (i % 3)));
    frame.placement.pose = straight_down(centre, 0.15 * i);
    const Eigen::Vector3d axis(std::cos(1.7 * i), std::sin(1.7 * i), 0);
    frame.placement.pose.world_from_camera =
        Eigen::AngleAxisd(plan.tilt_deg * kDegree, axis).toRotationMatrix() *
        frame.placement.pose.world_from_camera;
    frame.placement.mosaic_from_frame.matrix =
        mosaic_from_ground * ground_from_frame(frame.placement.pose, frame.placement.camera).matrix;
    const auto gain =
        static_cast<std::size_t>(i) < plan.gains.size() ? plan.gains[i] : std::array<double, 3>{1, 1, 1};
    cv::Mat picture = seen_frame(frame, flight.ground, gain, plan.vignetting);
    if (static_cast<std::size_t>(i) < plan.glare.size() && plan.glare[i].area() > 0) {
      cv::Mat mask(picture.size(), CV_8UC1, cv::Scalar(0));
      mask(plan.glare[i]).setTo(255);
      picture.setTo(cv::Scalar::all(255), mask);
      frame.glare.emplace();
      frame.glare->mask_file = fmt::format("masks/P{:02}_glare.png", i);
      cv::imwrite((flight.out / frame.glare->mask_file).string(), mask);
    }
    cv::imwrite(frame.source.path.string(), picture);
    flight.record.frames.push_back(frame);
  }
  return flight;
}

cv::Mat put_roof(SmallFlight& flight, const cv::Rect2d& place, double height_px) {
  cv::RNG random(11);
  cv::Mat texture(flight.ground.size(), CV_8UC3);
  random.fill(texture, cv::RNG::UNIFORM, 90, 250);
  cv::GaussianBlur(texture, texture, {}, 2.5);
  cv::normalize(texture, texture, 0, 255, cv::NORM_MINMAX);
  texture = texture * 0.5 + cv::Scalar::all(110);
  const mosaic::Canvas canvas = mosaic::plan_canvas(flight.record.placement, std::nullopt);
  for (const mosaic::FrameView& view : mosaic::frame_views(flight.record, canvas, std::nullopt)) {
    const FrameRecord& frame = flight.record.frames[view.frame_index];
    cv::Mat picture = cv::imread(frame.source.path.string());
    const cv::Point2d nadir(view.nadir_x_px, view.nadir_y_px);
    for (int row = 0; row < picture.rows; ++row)
      for (int column = 0; column < picture.cols; ++column) {
        const auto ground =
            frame.placement.mosaic_from_frame *
            frame.placement.camera.undistort({static_cast<double>(column), static_cast<double>(row)});
        const cv::Point2d top =
            nadir + (cv::Point2d(ground.x, ground.y) - nadir) * (1 - height_px / view.height_px);
        if (!place.contains(top)) continue;
        cv::Mat colour;
        cv::getRectSubPix(texture, {1, 1}, cv::Point2f(top), colour);
        picture.at<cv::Vec3b>(row, column) = colour.at<cv::Vec3b>(0, 0);
      }
    cv::imwrite(frame.source.path.string(), picture);
  }
  return texture;
}

}  // namespace lookdown::test
