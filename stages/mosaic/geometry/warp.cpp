#include "stages/mosaic/geometry/warp.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/base/robust_statistics.h"
#include "pipeline/imaging/resampling/lanczos.h"

namespace lookdown::mosaic {
namespace {

constexpr int kNodeSpacing = 16;

int nodes_along(int length) {
  return (length + kNodeSpacing - 1) / kNodeSpacing + 1;
}

/// What the view really shows there once it is bent.
Sighting bent_sight(const FrameView& view, double x_px, double y_px) {
  const cv::Point2d shift = view.bend.at(x_px, y_px);
  return view.sight(x_px + shift.x, y_px + shift.y);
}

cv::Mat geometrically_usable(const FrameView& view, const cv::Rect& area) {
  // Inside a cell whose corners are all usable everything is, since the usable part of a frame is convex but
  // for the lens's bend, which is far below a cell; only cells on the rim are tested pixel by pixel.
  cv::Mat usable(area.size(), CV_8UC1, cv::Scalar(0));
  const int columns = nodes_along(area.width), rows = nodes_along(area.height);
  cv::Mat nodes(rows, columns, CV_8UC1);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column)
      nodes.at<uchar>(row, column) =
          bent_sight(view, area.x + column * kNodeSpacing, area.y + row * kNodeSpacing).in_view;
  cv::Mat near;  // a frame's corner may poke into a cell between its nodes, but then a neighbouring node is
                 // usable
  cv::dilate(nodes, near, cv::Mat());
  for (int row = 0; row + 1 < rows; ++row)
    for (int column = 0; column + 1 < columns; ++column) {
      const int corners = nodes.at<uchar>(row, column) + nodes.at<uchar>(row + 1, column) +
                          nodes.at<uchar>(row, column + 1) + nodes.at<uchar>(row + 1, column + 1);
      const cv::Rect cell = cv::Rect(column * kNodeSpacing, row * kNodeSpacing, kNodeSpacing, kNodeSpacing) &
                            cv::Rect(0, 0, area.width, area.height);
      if (corners == 4) usable(cell).setTo(255);
      const bool none_near = !near.at<uchar>(row, column) && !near.at<uchar>(row + 1, column) &&
                             !near.at<uchar>(row, column + 1) && !near.at<uchar>(row + 1, column + 1);
      if (corners == 4 || none_near) continue;
      for (int y = cell.y; y < cell.y + cell.height; ++y)
        for (int x = cell.x; x < cell.x + cell.width; ++x)
          if (bent_sight(view, area.x + x, area.y + y).in_view) usable.at<uchar>(y, x) = 255;
    }
  return usable;
}

}  // namespace

namespace {

/// Mosaic pixels by which the surface may stray from what its heights at a cell's corners give, as it shows
/// in the frame, before the cell is mapped pixel by pixel.
constexpr double kMostStrayPx = 0.05;

/// True where positions between the cell's corners cannot be taken as linear for the surface's relief.
bool is_uneven(const FrameView& view, const cv::Rect& cell) {
  if (view.surface == nullptr) return false;
  double corner[2][2];
  for (int down = 0; down < 2; ++down)
    for (int right = 0; right < 2; ++right)
      corner[down][right] = view.height_at(cell.x + right * kNodeSpacing, cell.y + down * kNodeSpacing);
  const double lean =
      std::max(0.02, view.tan_view_angle(cell.x, cell.y)) * view.height_px / view.camera_height;
  const double step = std::clamp(view.surface->step_px * view.canvas_per_placed, 2.0, 16.0);
  for (double y = 0; y <= kNodeSpacing; y += step)
    for (double x = 0; x <= kNodeSpacing; x += step) {
      const double right = x / kNodeSpacing, down = y / kNodeSpacing;
      const double plain = (corner[0][0] * (1 - right) + corner[0][1] * right) * (1 - down) +
                           (corner[1][0] * (1 - right) + corner[1][1] * right) * down;
      if (std::abs(view.height_at(cell.x + x, cell.y + y) - plain) * lean > kMostStrayPx) return true;
    }
  return false;
}

void map_uneven_cells(const FrameView& view, const cv::Rect& area, cv::Mat& map) {
  const cv::Vec2f highest(static_cast<float>(view.camera.width_px - 1),
                          static_cast<float>(view.camera.height_px - 1));
  for (int y = 0; y < area.height; y += kNodeSpacing)
    for (int x = 0; x < area.width; x += kNodeSpacing) {
      const cv::Rect cell = cv::Rect(x, y, kNodeSpacing, kNodeSpacing) & cv::Rect({}, area.size());
      if (!is_uneven(view, cell + area.tl())) continue;
      for (int row = cell.y; row < cell.br().y; ++row)
        for (int column = cell.x; column < cell.br().x; ++column) {
          const cv::Point2d p = view.position(area.x + column, area.y + row);
          map.at<cv::Vec2f>(row, column) = {std::clamp(static_cast<float>(p.x), 0.0F, highest[0]),
                                            std::clamp(static_cast<float>(p.y), 0.0F, highest[1])};
        }
    }
}

}  // namespace

cv::Mat position_map(const FrameView& view, const cv::Rect& area) {
  const int columns = nodes_along(area.width), rows = nodes_along(area.height);
  cv::Mat nodes(rows, columns, CV_32FC2);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const cv::Point2d p = view.position(area.x + column * kNodeSpacing, area.y + row * kNodeSpacing);
      nodes.at<cv::Vec2f>(row, column) = {static_cast<float>(p.x), static_cast<float>(p.y)};
    }
  cv::Mat map(area.size(), CV_32FC2);
  std::vector<cv::Vec2f> line(columns);
  const cv::Vec2f highest(static_cast<float>(view.camera.width_px - 1),
                          static_cast<float>(view.camera.height_px - 1));
  for (int y = 0; y < area.height; ++y) {
    const int row = y / kNodeSpacing;
    const float down = static_cast<float>(y % kNodeSpacing) / kNodeSpacing;
    for (int column = 0; column < columns; ++column)
      line[column] = nodes.at<cv::Vec2f>(row, column) * (1 - down) +
                     nodes.at<cv::Vec2f>(std::min(row + 1, rows - 1), column) * down;
    auto* out = map.ptr<cv::Vec2f>(y);
    for (int x = 0; x < area.width; ++x) {
      const int column = x / kNodeSpacing;
      const float right = static_cast<float>(x % kNodeSpacing) / kNodeSpacing;
      for (int axis = 0; axis < 2; ++axis) {
        const float value = line[column][axis] + (line[column + 1][axis] - line[column][axis]) * right;
        out[x][axis] = std::clamp(value, 0.0F, highest[axis]);
      }
    }
  }
  if (view.surface != nullptr) map_uneven_cells(view, area, map);
  return map;
}

cv::Mat hidden_map(const FrameView& view, const cv::Rect& area) {
  if (view.hidden.empty()) return {};
  cv::Mat hidden(area.size(), CV_8UC1);
  for (int row = 0; row < area.height; ++row)
    for (int column = 0; column < area.width; ++column)
      hidden.at<uchar>(row, column) = view.is_hidden(area.x + column, area.y + row) ? 255 : 0;
  return hidden;
}

cv::Mat usable_map(const FrameView& view, const cv::Rect& area, bool even_hidden) {
  cv::Mat usable = geometrically_usable(view, area);
  if (const cv::Mat hidden = even_hidden ? cv::Mat() : hidden_map(view, area); !hidden.empty())
    usable.setTo(0, hidden);
  if (view.riding.empty()) return usable;
  const cv::Mat map = position_map(view, area);
  for (int row = 0; row < area.height; ++row)
    for (int column = 0; column < area.width; ++column)
      if (uchar& here = usable.at<uchar>(row, column);
          here && view.rides_along(cv::Point2f(map.at<cv::Vec2f>(row, column))))
        here = 0;
  return usable;
}

cv::Mat strained_map(const FrameView& view, const cv::Rect& area) {
  if (view.bend.strained.empty()) return {};
  cv::Mat strained(area.size(), CV_8UC1, cv::Scalar(0));
  for (int row = 0; row < area.height; ++row)
    for (int column = 0; column < area.width; ++column)
      if (view.bend.strained_at(area.x + column, area.y + row)) strained.at<uchar>(row, column) = 255;
  return strained;
}

int decode_reduction(double frame_px_per_mosaic_px) {
  int reduction = 1;
  while (reduction < 8 && frame_px_per_mosaic_px >= 2.2 * reduction) reduction *= 2;
  return reduction;
}

double typical_scale(const FrameView& view, const cv::Rect& area) {
  std::vector<double> scales;
  for (int row = 0; row <= 8; ++row)
    for (int column = 0; column <= 8; ++column) {
      const Sighting seen = view.sight(area.x + area.width * column / 8.0, area.y + area.height * row / 8.0);
      if (seen.usable) scales.push_back(seen.frame_px_per_mosaic_px);
    }
  return median_in_place(scales, 1.0);
}

cv::Mat resample(const cv::Mat& picture, int reduction, const cv::Mat& map, double frame_px_per_mosaic_px,
                 Detail detail) {
  constexpr int kRim = 24;  // taps of the filters beyond the outermost position
  const double per_stored = 1.0 / reduction;
  std::vector<cv::Mat> axes;
  cv::split(map, axes);
  for (auto& axis : axes) axis.convertTo(axis, CV_32F, per_stored, 0.5 * per_stored - 0.5);
  double least_x, most_x, least_y, most_y;
  cv::minMaxLoc(axes[0], &least_x, &most_x);
  cv::minMaxLoc(axes[1], &least_y, &most_y);
  const cv::Rect whole(0, 0, picture.cols, picture.rows);
  const cv::Rect needed =
      cv::Rect(cv::Point(static_cast<int>(least_x) - kRim, static_cast<int>(least_y) - kRim),
               cv::Point(static_cast<int>(most_x) + kRim, static_cast<int>(most_y) + kRim)) &
      whole;
  cv::Mat source = picture(needed);
  const double scale = frame_px_per_mosaic_px * per_stored;
  if (scale > 1.25 && detail == Detail::full) {
    const double sigma = 0.35 * std::sqrt(scale * scale - 1);
    cv::Mat smooth;
    cv::GaussianBlur(source, smooth, {}, sigma, sigma, cv::BORDER_REPLICATE);
    source = smooth;
  }
  axes[0] -= needed.x;
  axes[1] -= needed.y;
  if (detail == Detail::full) return lanczos(source, axes[0], axes[1]);
  cv::Mat warped;
  cv::remap(source, warped, axes[0], axes[1], cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  return warped;
}

cv::Mat resample_shown(const cv::Mat& picture, int reduction, const cv::Mat& map,
                       double frame_px_per_mosaic_px, const cv::Mat& shown) {
  constexpr int kBlock = 64;
  constexpr int kRim = 8;  // round what is shown, in which a frame's finest detail is still mixed in
  cv::Mat colours = resample(picture, reduction, map, frame_px_per_mosaic_px, Detail::coarse);
  const cv::Rect whole(0, 0, map.cols, map.rows);
  const auto is_shown_near = [&](const cv::Rect& block) {
    const cv::Rect round(block.x - kRim, block.y - kRim, block.width + 2 * kRim, block.height + 2 * kRim);
    return cv::countNonZero(shown(round & whole)) > 0;
  };
  for (int y = 0; y < map.rows; y += kBlock) {
    cv::Rect run;  // of neighbouring blocks in one row
    const auto resample_run = [&] {
      if (!run.empty()) resample(picture, reduction, map(run), frame_px_per_mosaic_px).copyTo(colours(run));
      run = {};
    };
    for (int x = 0; x < map.cols; x += kBlock) {
      const cv::Rect block = cv::Rect(x, y, kBlock, kBlock) & whole;
      if (is_shown_near(block))
        run |= block;
      else
        resample_run();
    }
    resample_run();
  }
  return colours;
}

}  // namespace lookdown::mosaic
