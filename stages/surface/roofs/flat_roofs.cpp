#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "stages/surface/flight_measures.h"
#include "stages/surface/roofs/rectangle.h"
#include "stages/surface/roofs/roof_views.h"
#include "stages/surface/steps/edge_snapping.h"
#include "stages/surface/surface.h"

namespace lookdown::surface {
namespace {

constexpr double kCoarserNodes = 2;  ///< nodes of the finest grid for one of that on which roofs are outlined
constexpr double kReachShare = 0.35;  ///< of the flying height: how far beyond its marks a roof may go on
constexpr int kBorderPasses = 3, kFarther = 3;
constexpr float kMarked = 4;  ///< code values by which a place between marks of the plane is taken for roof
constexpr double kLeastSaid = 0.5;  ///< code values by which frames must agree better on the whole roof
constexpr double kMoves = 0.3;      ///< of a roof's width: how far the border found may lie from its sides
constexpr double kLeastMoves = 12;  ///< nodes
constexpr double kHolds = 0.5;      ///< of the marks a roof must hold: they may run over to its neighbour
constexpr double kLeastStep = 6;    ///< code values of brightness across every side, in all views
constexpr double kClearStep = 15;   ///< the same, from which it takes nothing else
constexpr double kWall = 0.5;       ///< of the lowest roof's height: steps that are walls

/// Round marks of one height that may belong together.
struct Neighbourhood {
  cv::Rect box;         ///< nodes
  cv::Mat open, marks;  ///< CV_8UC1 over it
};

cv::Mat marks_of(const RaisedPlane& plane, const NodeGrid& grid, double step_px) {
  cv::Mat marks(grid.rows, grid.columns, CV_8UC1, cv::Scalar(0));
  for (const auto& outline : plane.outlines_px) {
    std::vector<cv::Point> corners;
    corners.reserve(outline.size());
    for (const auto& corner : outline)
      corners.emplace_back(int(std::lround((corner[0] + 0.5) / step_px - 0.5)),
                           int(std::lround((corner[1] + 0.5) / step_px - 0.5)));
    if (corners.size() >= 3) cv::fillPoly(marks, std::vector{corners}, cv::Scalar(255));
  }
  return marks;
}

cv::Rect with_room(const cv::Rect& box, int room, const cv::Size& whole) {
  return cv::Rect(box.x - room, box.y - room, box.width + 2 * room, box.height + 2 * room) &
         cv::Rect({}, whole);
}

/// Groups of marks that lie within twice the reach of each other, each as a mask over the whole grid.
std::vector<cv::Mat> groups_of(const cv::Mat& marks, double reach_nodes) {
  std::vector<cv::Mat> groups;
  if (cv::countNonZero(marks) == 0) return groups;
  cv::Mat distance, labels;
  cv::distanceTransform(marks == 0, distance, cv::DIST_L2, cv::DIST_MASK_5);
  const int count = cv::connectedComponents(distance <= reach_nodes, labels);
  for (int label = 1; label < count; ++label) groups.emplace_back((labels == label) & marks);
  return groups;
}

Neighbourhood around(const cv::Mat& marks, double reach_nodes) {
  const cv::Rect box = with_room(cv::boundingRect(marks), int(reach_nodes) + 2, marks.size());
  Neighbourhood where{box, cv::Mat(box.size(), CV_8UC1, cv::Scalar(0)), marks(box).clone()};
  cv::Mat distance;
  cv::distanceTransform(where.marks == 0, distance, cv::DIST_L2, cv::DIST_MASK_5);
  // What lies at the rim stays ground, so that the border has an outside.
  const cv::Rect inner(1, 1, box.width - 2, box.height - 2);
  if (inner.width > 2 && inner.height > 2) cv::Mat(distance(inner) <= reach_nodes).copyTo(where.open(inner));
  return where;
}

/// The pieces of `roof` that hold marks, without holes.
cv::Mat with_marks(const cv::Mat& roof, const cv::Mat& marks) {
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(roof, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  cv::Mat kept = cv::Mat::zeros(roof.size(), CV_8UC1);
  for (std::size_t i = 0; i < contours.size(); ++i) {
    cv::Mat piece = cv::Mat::zeros(roof.size(), CV_8UC1);
    cv::drawContours(piece, contours, int(i), cv::Scalar(255), cv::FILLED);
    if (cv::countNonZero(piece & marks) > 0) kept |= piece;
  }
  return kept;
}

/// Code values that speak for a rectangle: its sides, and what the views say within it and round it.
double worth_of(const RoofLook& roof, const Corners& corners) {
  constexpr int kRound = 11;
  const cv::Mat inside = filled(corners, roof.likeness.size());
  cv::Mat wide;
  cv::dilate(inside, wide, cv::Mat(kRound, kRound, CV_8UC1, cv::Scalar(1)));
  if (cv::countNonZero(inside) == 0) return -1e30;
  return steps_at(roof, corners).mean + cv::mean(roof.likeness, inside)[0] -
         cv::mean(roof.likeness, wide & ~inside)[0];
}

/// What a neighbourhood holds.
struct Outlined {
  cv::Mat border;                    ///< CV_8UC1, the first border filled
  std::optional<Corners> rectangle;  ///< the likeliest; empty when none is sure
  double worth = 0;                  ///< code values that speak for it
};

Outlined outline_in(const Neighbourhood& where, float height, RoofViews& views) {
  const Sides sides{cv::Mat(where.box.size(), CV_32FC1, cv::Scalar(height)),
                    cv::Mat(where.box.size(), CV_32FC1, cv::Scalar(0)), where.open};
  cv::Mat roof = where.marks & where.open;
  RoofViews::Seen seen;
  for (int pass = 0; pass < kBorderPasses; ++pass) {
    seen = views.of(where.box, where.open, roof, height);
    cv::Mat told = seen.roof.likeness.clone(), heights(where.box.size(), CV_32FC1, cv::Scalar(0));
    cv::add(told, kMarked, told, where.marks);
    heights.setTo(height, roof);
    const cv::Mat before = roof;
    roof = with_marks(cut_between_sides(heights, sides, told, seen.mean, kNoInertia) > 0, where.marks);
    if (cv::countNonZero(roof) == 0) return {};
    if (cv::countNonZero(roof != before) == 0) break;
  }
  std::optional<Corners> best;
  double most = -1e30;
  for (const Corners& box : {box_round(roof), box_along_edges(seen.roof, roof), box_round(where.marks),
                             box_along_edges(seen.roof, where.marks)}) {
    const double width = std::min(cv::norm(box[1] - box[0]), cv::norm(box[2] - box[1]));
    const Corners corners = fitted(seen.roof, box, std::max(kLeastMoves, kMoves * width));
    const cv::Mat inside = filled(corners, roof.size());
    if (cv::countNonZero(inside & where.marks) < kHolds * cv::countNonZero(where.marks)) continue;
    const double worth = worth_of(seen.roof, corners);
    if (worth > most) most = worth, best = corners;
  }
  if (!best) return {roof, {}, 0};
  const double faintest = steps_at(seen.roof, *best).faintest,
               said = cv::mean(seen.roof.likeness, filled(*best, roof.size()))[0];
  if (faintest < kClearStep && (faintest < kLeastStep || said < kLeastSaid)) best.reset();
  return {roof, best, most};
}

/// The broad places of marks that narrow ones join: marks of several roofs of one height run together.
std::vector<cv::Mat> broad_parts(const cv::Mat& marks) {
  constexpr double kNarrow = 0.6;  // of the broadest place
  cv::Mat distance, labels;
  cv::distanceTransform(marks, distance, cv::DIST_L2, cv::DIST_MASK_5);
  double broadest = 0;
  cv::minMaxLoc(distance, nullptr, &broadest);
  std::vector<cv::Mat> parts;
  const int count = cv::connectedComponents(distance > kNarrow * broadest, labels);
  for (int label = 1; count > 2 && label < count; ++label) parts.emplace_back(labels == label);
  return parts;
}

/// The same corners on a grid `kCoarserNodes` times as fine.
Corners at_finer(Corners corners) {
  for (cv::Point2d& c : corners) c = (c + cv::Point2d(0.5, 0.5)) * kCoarserNodes - cv::Point2d(0.5, 0.5);
  return corners;
}

/// True when some of the outline lies where it was not looked, or at the rim of it, or far from the marks:
/// where it seems to end, frames may end that others go on from.
bool reaches_beyond(const Neighbourhood& where, const Outlined& found) {
  constexpr double kGrown = 1.25;  // times the marks' area
  if (cv::countNonZero(found.border) > kGrown * cv::countNonZero(where.marks)) return true;
  cv::Mat inner;
  cv::erode(where.open, inner, cv::Mat(3, 3, CV_8UC1, cv::Scalar(1)));
  if (cv::countNonZero(found.border & ~inner) > 0) return true;
  return found.rectangle &&
         std::any_of(found.rectangle->begin(), found.rectangle->end(), [&](const cv::Point2d& corner) {
           const cv::Point node(int(std::lround(corner.x)), int(std::lround(corner.y)));
           return !cv::Rect({}, inner.size()).contains(node) || !inner.at<uchar>(node);
         });
}

/// Looks farther as long as the outline goes on; the likeliest of what is found.
std::optional<Corners> rectangle_round(const cv::Mat& first_marks, float height, double reach_nodes,
                                       RoofViews& views) {
  const cv::Mat marks = first_marks.clone();
  std::optional<Corners> corners;
  double most = -1e30;
  for (int farther = 0; farther < kFarther; ++farther) {
    const Neighbourhood where = around(marks, reach_nodes);
    if (cv::countNonZero(where.open) == 0) return std::nullopt;
    const Outlined found = outline_in(where, height, views);
    if (found.border.empty()) break;
    if (found.rectangle && found.worth > most) {
      most = found.worth;
      corners = found.rectangle;
      for (cv::Point2d& corner : *corners) corner += cv::Point2d(where.box.tl());
    }
    if (!reaches_beyond(where, found)) break;
    cv::Mat within = marks(where.box);
    within |= found.border;
    if (found.rectangle) within |= filled(*found.rectangle, where.box.size());
  }
  return corners;
}

/// Sides to a part of a node; lets the roof stand on the heights. False when a side does not show.
bool stand(Corners corners, float height, RoofViews& views, cv::Mat& heights) {
  constexpr int kRoom = 12;
  constexpr double kMoves = 5;
  std::vector<cv::Point2f> points(corners.begin(), corners.end());
  const cv::Rect tight = cv::boundingRect(points);
  const cv::Rect box = with_room(tight, kRoom, heights.size());
  if (box.width < 3 || box.height < 3) return false;
  for (cv::Point2d& corner : corners) corner -= cv::Point2d(box.tl());
  const RoofLook seen =
      views.of(box, cv::Mat(box.size(), CV_8UC1, cv::Scalar(255)), filled(corners, box.size()), height).roof;
  corners = fitted(seen, corners, kMoves);
  if (steps_at(seen, corners).faintest < kLeastStep) return false;
  cv::Mat under = heights(box);
  under.setTo(height, filled(corners, box.size()) & (under < height));
  return true;
}

}  // namespace

HeightGrid flat_roofs(const FlightRecord& flight, const std::vector<RaisedPlane>& planes,
                      RunContext& context) {
  HeightGrid grid;
  const FlightPlacement& placement = flight.placement;
  const std::optional<FlightMeasures> measures = measures_of(flight);
  if (placement.relief_spread > 0 || planes.empty() || !measures) return grid;
  grid.step_px = finest_step_px(*measures, placement);
  const NodeGrid coarse = grid_of(*measures, placement, kCoarserNodes * grid.step_px),
                 fine = grid_of(*measures, placement, grid.step_px);
  RoofViews at_coarse(flight, coarse, context), at_fine(flight, fine, context);
  cv::Mat heights(fine.rows, fine.columns, CV_32FC1, cv::Scalar(0));
  float lowest_roof = 1e30F;
  for (const RaisedPlane& plane : planes) {
    if (!(plane.height > 0)) continue;
    const auto height = float(plane.height);
    const cv::Mat marks = marks_of(plane, coarse, kCoarserNodes * grid.step_px);
    const double reach_nodes = kReachShare * measures->height / coarse.pitch;
    const auto try_to_stand = [&](const cv::Mat& part) {
      const auto corners = rectangle_round(part, height, reach_nodes, at_coarse);
      return corners && stand(at_finer(*corners), height, at_fine, heights);
    };
    for (const cv::Mat& group : groups_of(marks, reach_nodes)) {
      bool any = try_to_stand(group);
      if (!any)
        for (const cv::Mat& part : broad_parts(group)) any |= try_to_stand(part);
      if (!any) continue;
      lowest_roof = std::min(lowest_roof, height);
      grid.highest = std::max(grid.highest, height);
    }
  }
  if (!(grid.highest > 0)) return {};
  grid.wall = kWall * lowest_roof;
  grid.columns = fine.columns;
  grid.rows = fine.rows;
  grid.heights.assign(heights.begin<float>(), heights.end<float>());
  grid.confidence.assign(heights.total(), 1);
  return grid;
}

}  // namespace lookdown::surface
