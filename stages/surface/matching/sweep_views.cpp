#include "stages/surface/matching/sweep_views.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/robust_statistics.h"
#include "pipeline/record/program_verdict.h"
#include "stages/surface/matching/view_likeness.h"

namespace lookdown::surface {
namespace {

constexpr double kMostOffNadirDeg = 35;  ///< beyond it scales differ too much within a frame for matching
constexpr double kMostWidening = 1.3;    ///< of a picture by which barrel distortion is undone
/// Of base over height: below, heights drown in the errors of matching; above, things look too different.
constexpr double kLeastBase = 0.06, kGoodBase = 0.25, kMostBase = 1.0;
constexpr int kLargestTile = 160, kSmallestTile = 48;  ///< nodes: side of a tile
/// Of a picture's shorter side: a few views then show all of a tile.
constexpr double kTileOfPicture = 0.4;
/// What one more view of a spot is worth that so many see already.
constexpr double kWorth[] = {1, 1, 0.8, 0.5, 0.2, 0.1};
constexpr double kUnsureWorth = 0.6, kFillWorth = 0.01;  ///< of that

bool looks_down(const FramePlacement& placed) {
  return placed.placed && placed.group == 0 && placed.pose.centre.z() > 0 &&
         off_nadir_deg(placed.pose) < kMostOffNadirDeg;
}

/// What the frame shows, undistorted pixels.
cv::Rect2d undistorted_extent(const Camera& camera) {
  const double width = camera.width_px - 1, height = camera.height_px - 1;
  if (!camera.has_distortion()) return {0, 0, width, height};
  double left = 0, top = 0, right = width, bottom = height;
  constexpr int kSteps = 16;
  for (int i = 0; i <= kSteps; ++i)
    for (const Point2<StoredPx> rim : {Point2<StoredPx>{width * i / kSteps, 0},
                                       {width * i / kSteps, height},
                                       {0, height * i / kSteps},
                                       {width, height * i / kSteps}}) {
      const auto p = camera.undistort(rim);
      left = std::min(left, p.x), right = std::max(right, p.x);
      top = std::min(top, p.y), bottom = std::max(bottom, p.y);
    }
  const double most_x = 0.5 * (kMostWidening - 1) * width, most_y = 0.5 * (kMostWidening - 1) * height;
  left = std::max(left, -most_x), right = std::min(right, width + most_x);
  top = std::max(top, -most_y), bottom = std::min(bottom, height + most_y);
  return {left, top, right - left, bottom - top};
}

bool shows(const SweepView& view, const Eigen::Vector3d& world) {
  const Eigen::Vector3d q = view.picture_from_world * (world - view.centre);
  if (!(q.z() > 0)) return false;
  const double x = q.x() / q.z(), y = q.y() / q.z();
  return x >= 0 && y >= 0 && x <= view.size.width - 1 && y <= view.size.height - 1;
}

/// Tangents of the line of sight against straight down, along x and y.
Eigen::Vector2d slant(const SweepView& view, const Eigen::Vector3d& world) {
  const Eigen::Vector3d ray = view.centre - world;
  return ray.head<2>() / std::max(1e-9, ray.z());
}

/// The half of the views from the west, the east, the south and the north; empty where that is less than two.
std::vector<std::vector<int>> sides_of(const std::vector<Eigen::Vector2d>& slants) {
  std::vector<std::vector<int>> sides;
  if (slants.size() < 3) return sides;
  std::vector<int> order(slants.size());
  for (int axis = 0; axis < 2; ++axis) {
    std::iota(order.begin(), order.end(), 0);
    std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
      return slants[std::size_t(a)][axis] < slants[std::size_t(b)][axis];
    });
    const auto half = std::ptrdiff_t((order.size() + 1) / 2);
    sides.emplace_back(order.begin(), order.begin() + half);
    sides.emplace_back(order.end() - half, order.end());
  }
  return sides;
}

Eigen::Vector3d middle(const std::vector<Eigen::Vector3d>& spots) {
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  for (const Eigen::Vector3d& spot : spots) sum += spot;
  return sum / double(spots.size());
}

}  // namespace

std::vector<SweepView> sweep_views(const FlightRecord& flight, double ground_px, bool with_fills) {
  std::vector<SweepView> views;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    const FramePlacement& placed = flight.frames[i].placement;
    const Decision by_program = decision_but_for_drop_by_person(flight.frames[i].decision);
    SweepView view;
    view.fills = with_fills && dropped_for_blur_alone(by_program);
    if (!looks_down(placed) || (by_program.verdict == Verdict::drop && !view.fills)) continue;
    view.frame = int(i);
    view.centre = placed.pose.centre;
    view.is_sure = by_program.verdict == Verdict::keep;
    view.scale = std::min(1.0, placed.pose.centre.z() / (placed.camera.fx_px * ground_px));
    const cv::Rect2d extent = undistorted_extent(placed.camera);
    view.size = {std::max(8, int(extent.width * view.scale) + 1),
                 std::max(8, int(extent.height * view.scale) + 1)};
    Eigen::Matrix3d picture_from_frame = Eigen::Matrix3d::Identity();
    picture_from_frame.diagonal().head<2>().setConstant(view.scale);
    picture_from_frame(0, 2) = -extent.x * view.scale;
    picture_from_frame(1, 2) = -extent.y * view.scale;
    view.picture_from_world =
        picture_from_frame * placed.camera.matrix() * placed.pose.world_from_camera.transpose();
    views.push_back(view);
  }
  return views;
}

SweepPictures::Picture SweepPictures::make(const SweepView& view) const {
  const FrameRecord& frame = flight_.frames[std::size_t(view.frame)];
  const Camera& camera = frame.placement.camera;
  int reduction = 1;
  while (reduction < 8 && view.scale * reduction * 2 <= 1.05) reduction *= 2;
  auto grey = reader_.grey(frame.source.path, reduction);
  if (!grey) throw FrameFault{grey.error()};
  const double per_stored = double(grey->cols) / camera.width_px;
  const double coarser = per_stored / view.scale;  // decoded pixels to one of the picture
  cv::Mat smooth = *grey;
  if (coarser > 1.1) {
    const double sigma = 0.5 * std::sqrt(coarser * coarser - 1);
    cv::GaussianBlur(*grey, smooth, {}, sigma, sigma, cv::BORDER_REPLICATE);
  }
  const cv::Rect2d extent = undistorted_extent(camera);
  const double radius = camera.has_distortion() ? camera.monotonic_radius_px() : 1e30;
  cv::Mat map(view.size, CV_32FC2), picture;
  for (int y = 0; y < map.rows; ++y)
    for (int x = 0; x < map.cols; ++x) {
      const Point2<UndistortedPx> at{extent.x + x / view.scale, extent.y + y / view.scale};
      cv::Vec2f& from = map.at<cv::Vec2f>(y, x);
      from = {-10, -10};
      if (std::hypot(at.x - camera.cx_px, at.y - camera.cy_px) > radius) continue;
      const Point2<StoredPx> stored =
          camera.has_distortion() ? camera.distort(at) : Point2<StoredPx>{at.x, at.y};
      if (stored.x < 0 || stored.y < 0 || stored.x > camera.width_px - 1 || stored.y > camera.height_px - 1)
        continue;
      from = {float((stored.x + 0.5) * per_stored - 0.5), float((stored.y + 0.5) * per_stored - 0.5)};
    }
  cv::remap(smooth, picture, map, cv::noArray(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  for (int y = 0; y < map.rows; ++y)
    for (int x = 0; x < map.cols; ++x) {
      uchar& level = picture.at<uchar>(y, x);
      level = map.at<cv::Vec2f>(y, x)[0] < -5 ? uchar(0) : std::max<uchar>(1, level);
    }
  return std::make_shared<const cv::Mat>(picture);
}

SweepPictures::Picture SweepPictures::of(int index) {
  const SweepView& view = views_[std::size_t(index)];
  return store_.get({index, 0}, view.size.area(), [&] { return make(view); });
}

int usual_tile_side(const std::vector<SweepView>& views) {
  std::vector<int> sides;
  sides.reserve(views.size());
  for (const SweepView& view : views) sides.push_back(std::min(view.size.width, view.size.height));
  const int usual = sides.empty() ? 0 : median_in_place(sides);
  return std::clamp(int(kTileOfPicture * usual), kSmallestTile, kLargestTile);
}

ViewChoice choose_views(const std::vector<SweepView>& views, const std::vector<Eigen::Vector3d>& spots) {
  const Eigen::Vector3d centre = middle(spots);
  struct Candidate {
    int view;
    Eigen::Vector2d slant;
    std::vector<char> sees;
  };
  std::vector<Candidate> candidates;
  for (std::size_t i = 0; i < views.size(); ++i) {
    Candidate candidate{int(i), slant(views[i], centre), {}};
    bool any = false;
    for (const Eigen::Vector3d& spot : spots) {
      candidate.sees.push_back(shows(views[i], spot));
      any |= candidate.sees.back() != 0;
    }
    if (any) candidates.push_back(candidate);
  }
  ViewChoice choice;
  std::vector<const Candidate*> chosen;
  std::vector<int> seen(spots.size(), 0);
  while (chosen.size() < kMostViewsCompared) {
    const Candidate* best = nullptr;
    double most = 0;
    for (const Candidate& candidate : candidates) {
      if (std::find(chosen.begin(), chosen.end(), &candidate) != chosen.end()) continue;
      double worth = 0;
      for (std::size_t s = 0; s < spots.size(); ++s) {
        if (!candidate.sees[s] || (views[std::size_t(candidate.view)].fills && seen[s] >= kViewsEnough))
          continue;
        double news = kWorth[std::min<std::size_t>(std::size_t(seen[s]), std::size(kWorth) - 1)];
        for (const Candidate* other : chosen)
          if (other->sees[s])
            news *= std::clamp((candidate.slant - other->slant).norm() / kGoodBase, 0.02, 1.0);
        worth += news;
      }
      const SweepView& view = views[std::size_t(candidate.view)];
      worth *= (view.fills     ? kFillWorth
                : view.is_sure ? 1
                               : kUnsureWorth) /
               (1 + 4 * candidate.slant.squaredNorm());
      if (worth > most) most = worth, best = &candidate;
    }
    if (best == nullptr) break;
    chosen.push_back(best);
    for (std::size_t s = 0; s < spots.size(); ++s) seen[s] += best->sees[s];
  }
  std::vector<Eigen::Vector2d> slants;
  slants.reserve(chosen.size());
  for (const Candidate* one : chosen) slants.push_back(one->slant);
  choice.sides = sides_of(slants);
  for (std::size_t i = 0; i < chosen.size(); ++i) {
    choice.views.push_back(chosen[i]->view);
    for (std::size_t j = 0; j < i; ++j) {
      const double base = (chosen[i]->slant - chosen[j]->slant).norm();
      if (base < kLeastBase || base > kMostBase) continue;
      choice.pairs.emplace_back(int(j), int(i));
      choice.spread = std::max(choice.spread, base);
    }
  }
  return choice;
}

}  // namespace lookdown::surface
