#include "stages/level/verticals/straight_edges.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace lookdown::level {

std::vector<StraightEdge> straight_edges(const cv::Mat1b& grey, const Camera& camera, std::size_t most) {
  std::vector<cv::Vec4f> segments;
  cv::createLineSegmentDetector(cv::LSD_REFINE_STD)->detect(grey, segments);
  const double shortest = 0.025 * std::max(grey.cols, grey.rows);
  std::vector<StraightEdge> edges;
  for (const cv::Vec4f& s : segments) {
    const double length = std::hypot(s[2] - s[0], s[3] - s[1]);
    if (length < shortest) continue;
    const auto a = camera.undistort({s[0], s[1]}), b = camera.undistort({s[2], s[3]});
    const Eigen::Vector2d from((a.x - camera.cx_px) / camera.fx_px, (a.y - camera.cy_px) / camera.fy_px);
    const Eigen::Vector2d to((b.x - camera.cx_px) / camera.fx_px, (b.y - camera.cy_px) / camera.fy_px);
    if (!(to - from).allFinite() || (to - from).norm() < 1e-9) continue;
    edges.push_back({0.5 * (from + to), (to - from).normalized(), length});
  }
  std::stable_sort(edges.begin(), edges.end(),
                   [](const StraightEdge& a, const StraightEdge& b) { return a.length_px > b.length_px; });
  if (edges.size() > most) edges.resize(most);
  return edges;
}

}  // namespace lookdown::level
