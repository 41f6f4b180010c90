#include "stages/report/overlay_shapes.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"

namespace lookdown::report {
namespace {

/// How far beyond its sides a shape is still worth drawing, in frame sizes.
constexpr double kReach = 1.5;
constexpr int kMaskLongSide_px = 640;
constexpr double kLeastGlareShare = 2e-4;
constexpr std::size_t kMostGlareOutlines = 80;

bool near_frame(const DisplayedShare& p) {
  return p.x > -kReach && p.x < 1 + kReach && p.y > -kReach && p.y < 1 + kReach;
}

/// Points along the border of the stored frame, pixel edges included; more of them where the lens bends the
/// sides.
std::vector<Point2<StoredPx>> border(const FrameSource& source, int parts) {
  const double right = source.width_px - 0.5;
  const double bottom = source.height_px - 0.5;
  const std::array<Point2<StoredPx>, 4> corners{
      {{-0.5, -0.5}, {right, -0.5}, {right, bottom}, {-0.5, bottom}}};
  std::vector<Point2<StoredPx>> points;
  for (std::size_t side = 0; side < corners.size(); ++side) {
    const auto& from = corners[side];
    const auto& to = corners[(side + 1) % corners.size()];
    for (int part = 0; part < parts; ++part) {
      const double along = static_cast<double>(part) / parts;
      points.push_back({from.x + along * (to.x - from.x), from.y + along * (to.y - from.y)});
    }
  }
  return points;
}

}  // namespace

std::optional<HorizonShape> horizon_shape(const FrameRecord& frame) {
  if (!frame.horizon) return std::nullopt;
  const auto& [a, b, c] = frame.horizon->line;
  const Camera& camera = frame.info.camera;
  const DisplayedFrame displayed(frame.source);
  // Foot of the perpendicular from the middle of the frame, then along the line both ways.
  const double middle_x = frame.source.width_px / 2.0;
  const double middle_y = frame.source.height_px / 2.0;
  const double distance = a * middle_x + b * middle_y + c;
  const double foot_x = middle_x - distance * a;
  const double foot_y = middle_y - distance * b;
  const double reach_px = std::hypot(frame.source.width_px, frame.source.height_px);
  HorizonShape shape;
  constexpr int kSteps = 40;
  for (int step = 0; step <= kSteps; ++step) {
    const double along = reach_px * (2.0 * step / kSteps - 1);
    const auto point = displayed.share(Point2<UndistortedPx>{foot_x - along * b, foot_y + along * a}, camera);
    if (point && near_frame(*point)) shape.line.push_back(*point);
  }
  const double off_px = 0.08 * reach_px;
  const auto sky = displayed.share(Point2<UndistortedPx>{foot_x + off_px * a, foot_y + off_px * b}, camera);
  if (shape.line.size() < 2 || !sky) return std::nullopt;
  shape.sky = *sky;
  return shape;
}

TileShape tile_shape(const FrameRecord& frame) {
  TileShape shape;
  if (!frame.sharpness || frame.sharpness->tiles.empty()) return shape;
  const Sharpness& sharpness = *frame.sharpness;
  if (sharpness.tile_columns <= 0 || sharpness.tile_rows <= 0) return shape;
  const DisplayedFrame displayed(frame.source);
  const bool on_its_side = displayed.on_its_side();
  shape.columns = on_its_side ? sharpness.tile_rows : sharpness.tile_columns;
  shape.rows = on_its_side ? sharpness.tile_columns : sharpness.tile_rows;
  shape.blur_fwhm_px.resize(static_cast<std::size_t>(shape.columns) * shape.rows);
  for (const TileBlur& tile : sharpness.tiles) {
    const DisplayedShare middle = displayed.share(
        Point2<StoredPx>{(tile.column + 0.5) / sharpness.tile_columns * frame.source.width_px - 0.5,
                         (tile.row + 0.5) / sharpness.tile_rows * frame.source.height_px - 0.5});
    const int column = std::clamp(static_cast<int>(middle.x * shape.columns), 0, shape.columns - 1);
    const int row = std::clamp(static_cast<int>(middle.y * shape.rows), 0, shape.rows - 1);
    shape.blur_fwhm_px[static_cast<std::size_t>(row) * shape.columns + column] = tile.blur_fwhm_px;
  }
  return shape;
}

std::vector<Outline> glare_outlines(const FrameRecord& frame, const std::filesystem::path& out) {
  if (!frame.glare || frame.glare->mask_file.empty() || frame.glare->glare_share <= 0) return {};
  cv::Mat mask = cv::imread((out / frame.glare->mask_file).string(), cv::IMREAD_GRAYSCALE);
  if (mask.empty()) return {};
  const double factor = std::min(1.0, static_cast<double>(kMaskLongSide_px) / std::max(mask.cols, mask.rows));
  cv::Mat small;
  cv::resize(mask, small, {}, factor, factor, cv::INTER_AREA);
  small = turned_for_display(small > 127, frame.source.orientation);
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(small, contours, cv::RETR_CCOMP, cv::CHAIN_APPROX_NONE);
  std::sort(contours.begin(), contours.end(),
            [](const auto& a, const auto& b) { return cv::contourArea(a) > cv::contourArea(b); });
  std::vector<Outline> outlines;
  for (const auto& contour : contours) {
    if (outlines.size() == kMostGlareOutlines || cv::contourArea(contour) < kLeastGlareShare * small.total())
      break;
    std::vector<cv::Point> simple;
    cv::approxPolyDP(contour, simple, 1.0, true);
    Outline outline;
    for (const cv::Point& p : simple) outline.push_back({(p.x + 0.5) / small.cols, (p.y + 0.5) / small.rows});
    outlines.push_back(std::move(outline));
  }
  return outlines;
}

std::vector<Point2<MosaicPx>> footprint(const FrameRecord& frame) {
  if (!frame.placement.placed) return {};
  const Camera& camera = frame.placement.camera;
  const auto& mosaic_from_frame = frame.placement.mosaic_from_frame;
  const Point2<UndistortedPx> middle{frame.source.width_px / 2.0, frame.source.height_px / 2.0};
  const double sense = mosaic_from_frame.depth(middle);
  std::vector<Point2<MosaicPx>> outline;
  for (const Point2<StoredPx>& stored : border(frame.source, camera.has_distortion() ? 4 : 1)) {
    const Point2<UndistortedPx> undistorted = camera.undistort(stored);
    // Beyond the vanishing line the plane is seen from behind: such a frame has no bounded footprint.
    if (mosaic_from_frame.depth(undistorted) * sense <= 0) return {};
    outline.push_back(mosaic_from_frame * undistorted);
  }
  return outline;
}

Outline outline_in_frame(const FrameRecord& frame, const std::vector<Point2<MosaicPx>>& footprint) {
  if (!frame.placement.placed) return {};
  const auto frame_from_mosaic = frame.placement.mosaic_from_frame.inverse();
  const DisplayedFrame displayed(frame.source);
  Outline outline;
  for (const Point2<MosaicPx>& corner : footprint) {
    // Far outside the frame the lens model means nothing; the straight projection is good enough for a line
    // that leaves.
    const Point2<UndistortedPx> seen = frame_from_mosaic * corner;
    auto share = displayed.share(seen, frame.placement.camera);
    if (!share) share = displayed.share(Point2<StoredPx>{seen.x, seen.y});
    if (!std::isfinite(share->x) || !std::isfinite(share->y)) return {};
    outline.push_back({std::clamp(share->x, -kReach, 1 + kReach), std::clamp(share->y, -kReach, 1 + kReach)});
  }
  return outline;
}

std::optional<DisplayedShare> plumb_point(const FrameRecord& frame) {
  if (!frame.tilt) return std::nullopt;
  const auto& down = frame.tilt->down_in_camera;
  if (down[2] <= 0.05) return std::nullopt;
  const Camera& camera = frame.placement.placed ? frame.placement.camera : frame.info.camera;
  const Point2<UndistortedPx> point{camera.cx_px + camera.fx_px * down[0] / down[2],
                                    camera.cy_px + camera.fy_px * down[1] / down[2]};
  const auto share = DisplayedFrame(frame.source).share(point, camera);
  if (!share || !near_frame(*share)) return std::nullopt;
  return share;
}

std::optional<DisplayedShare> sun_mirror_point(const FlightRecord& record, const FrameRecord& frame) {
  const bool north_known = !record.placement.north_from.empty() && record.placement.north_from != "arbitrary";
  if (!frame.sun || frame.sun->elevation_deg <= 0 || !frame.placement.placed || !north_known)
    return std::nullopt;
  const double elevation = frame.sun->elevation_deg * kDegree;
  const double azimuth = frame.sun->azimuth_deg * kDegree;
  // A level surface turns the sun's ray upward at the same angle: seen from above, the image lies toward the
  // sun's azimuth and as far below the horizontal as the sun stands above it.
  const Eigen::Vector3d to_image(std::cos(elevation) * std::sin(azimuth),
                                 std::cos(elevation) * std::cos(azimuth), -std::sin(elevation));
  double depth = 0;
  const Camera& camera = frame.placement.camera;
  const auto seen = project(frame.placement.pose, camera, frame.placement.pose.centre + to_image, &depth);
  if (depth <= 0) return std::nullopt;
  const auto share = DisplayedFrame(frame.source).share(seen, camera);
  if (!share || !near_frame(*share)) return std::nullopt;
  return share;
}

}  // namespace lookdown::report
