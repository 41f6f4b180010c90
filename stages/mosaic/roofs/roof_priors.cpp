#include "stages/mosaic/roofs/roof_priors.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/roofs/plane_sweep.h"

namespace lookdown::mosaic {
namespace {

constexpr double kRimShare = 0.04;  // of the flying height: how far beyond its marks a roof may reach
constexpr float kSpeaksFor = 3,
                kSpeaksAgainst = -3;  // code values by which frames agree better at one of the heights

using Polygon = std::vector<cv::Point2f>;  // in survey cells

cv::Mat filled(const Polygon& outline, const cv::Rect& region) {
  return filled_outline({outline.begin(), outline.end()}, region);
}

void fill_holes(cv::Mat& mask) {
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(mask.clone(), contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  cv::drawContours(mask, contours, -1, cv::Scalar(255), cv::FILLED);
}

cv::Mat disc(int side) {
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, {side, side});
}

/// Hulls of the pieces of the mask, of such as lie within twice the reach of each other together.
cv::Mat hulls_of_neighbours(const cv::Mat& mask, int reach_cells) {
  cv::Mat wide, labels, hulls(mask.size(), CV_8UC1, cv::Scalar(0));
  cv::dilate(mask, wide, disc(2 * reach_cells + 1));
  const int count = cv::connectedComponents(wide, labels);
  for (int label = 1; label < count; ++label) {
    std::vector<cv::Point> cells, hull;
    cv::findNonZero((labels == label) & mask, cells);
    if (cells.empty()) continue;
    cv::convexHull(cells, hull);
    cv::fillConvexPoly(hulls, hull, cv::Scalar(255));
  }
  return hulls;
}

/// Cells of the region on roofs of one height of which the marks are known.
cv::Mat roof_cells(const std::vector<Polygon>& marks, const cv::Mat& gain, const cv::Rect& region,
                   int rim_cells) {
  cv::Mat own(region.size(), CV_8UC1, cv::Scalar(0)), around;
  for (const Polygon& part : marks) own |= filled(part, region);
  const cv::Mat between = hulls_of_neighbours(own, rim_cells);
  cv::dilate(between, around, disc(2 * rim_cells + 1));
  // Between the marks a bare roof says nothing and counts as roof; beyond them only what speaks for it does.
  const cv::Mat bare = gain > kSpeaksAgainst;
  cv::Mat roof = (between & bare) | (around & (gain > kSpeaksFor)), joined;
  cv::morphologyEx(roof, roof, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  cv::morphologyEx(roof | own, joined, cv::MORPH_CLOSE,
                   disc(2 * rim_cells + 1));  // over bare patches between parts
  roof |= own | (joined & bare);
  cv::morphologyEx(roof, roof, cv::MORPH_CLOSE, disc(5));
  fill_holes(roof);
  return roof;
}

/// Outlines in cells of its pieces.
std::vector<Polygon> outlines_of(const cv::Mat& mask, cv::Point origin) {
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  std::vector<Polygon> outlines;
  for (const std::vector<cv::Point>& contour : contours) {
    std::vector<cv::Point> simple;
    cv::approxPolyDP(contour, simple, 1.0, true);
    if (simple.size() < 3) continue;
    Polygon& outline = outlines.emplace_back();
    for (const cv::Point& corner : simple) outline.emplace_back(corner + origin);
  }
  return outlines;
}

double height_in_px(double height, const FlightPlacement& placement, const Canvas& canvas) {
  return placement.gsd_m && canvas.gsd_m ? height / *canvas.gsd_m : height * canvas.canvas_per_placed;
}

std::vector<Polygon> parts_in_cells(const RaisedPlane& plane, const Canvas& canvas, int cell_px) {
  std::vector<Polygon> parts;
  for (const auto& outline : plane.outlines_px) {
    Polygon part;
    for (const auto& corner : outline) {
      const Eigen::Vector3d at = canvas.canvas_from_placed * Eigen::Vector3d(corner[0], corner[1], 1);
      part.emplace_back(static_cast<float>((at.x() + 0.5) / cell_px - 0.5),
                        static_cast<float>((at.y() + 0.5) / cell_px - 0.5));
    }
    if (part.size() >= 3) parts.push_back(std::move(part));
  }
  return parts;
}

}  // namespace

std::vector<RaisedArea> placed_roofs(const FlightPlacement& placement, const Canvas& canvas,
                                     const std::vector<FrameView>& views, const Survey& survey) {
  std::vector<RaisedArea> roofs;
  if (placement.raised_planes.empty() || views.size() < 2) return roofs;
  const HeightSweep sweep(views, survey);
  const double usual_cells = sweep.usual_height_px() / survey.cell_px;
  const int rim_cells = std::max(2, static_cast<int>(std::ceil(kRimShare * usual_cells)));
  for (const RaisedPlane& plane : placement.raised_planes) {
    const double height_px = height_in_px(plane.height, placement, canvas);
    const std::vector<Polygon> marks = parts_in_cells(plane, canvas, survey.cell_px);
    cv::Rect box;
    for (const Polygon& part : marks) box |= box_of({part.begin(), part.end()});
    const int room = 3 * rim_cells + 3;
    const cv::Rect region =
        cv::Rect(box.x - room, box.y - room, box.width + 2 * room, box.height + 2 * room) &
        cv::Rect(0, 0, survey.columns, survey.rows);
    if (region.empty()) continue;
    const cv::Mat gain = evidence(sweep.at(0, region), sweep.at(height_px, region));
    for (const Polygon& outline : outlines_of(roof_cells(marks, gain, region, rim_cells), region.tl())) {
      RaisedArea& roof = roofs.emplace_back(RaisedArea{height_px, {}});
      for (const cv::Point2f& corner : outline)
        roof.outline.push_back((cv::Point2d(corner) + cv::Point2d(0.5, 0.5)) * survey.cell_px -
                               cv::Point2d(0.5, 0.5));
    }
  }
  return roofs;
}

}  // namespace lookdown::mosaic
