#include "stages/level/search/first_lines.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "pipeline/imaging/resampling/halving.h"
#include "stages/level/copies/display_turn.h"

namespace lookdown::level {
namespace {

constexpr int kGlanceLongSide = 64, kGlanceLines = 16;
constexpr int kMostLongSide = 600;  ///< of the picture that the glance measures texture in
constexpr double kGlanceSmallestSide = 32;
constexpr int kFirstLines = 160;
constexpr int kFirstStride = 2;  ///< of the rows and columns that are looked at
constexpr std::size_t kRefined = 7;
constexpr double kApart = 3.5;  ///< small pixels: refinement would bring nearer lines to the same edge

/// Line of the small picture in pixels of the picture it was made from; pixel centres are kept.
Eigen::Vector3d enlarged(const LineCandidate& cut, double scale) {
  const double nx = std::cos(cut.angle_rad), ny = std::sin(cut.angle_rad);
  const double offset = (cut.offset_px + (0.5 - 0.5 * scale) * (nx + ny)) / scale;
  return {nx, ny, -offset};
}

/// `scale`: pixels of the small picture a pixel of the one that lines are wanted in.
std::vector<FirstLine> lines_of(const SearchPicture& small, double scale, int most, int orientation,
                                int stride) {
  std::vector<FirstLine> lines;
  for (const LineCandidate& cut : candidate_lines(small, most)) {
    const Eigen::Vector3d line = enlarged(cut, scale);
    const double roll_rad = shown_roll_rad(line.x(), line.y(), orientation);
    lines.push_back({cut, line, evidence_of(small, cut, roll_rad, {}, stride)});
  }
  return lines;
}

/// Largest distance between two lines within the picture, small pixels; lines with the sky on different sides
/// are far apart.
double apart(const LineCandidate& a, const LineCandidate& b, const cv::Size& size) {
  const double turn = std::remainder(a.angle_rad - b.angle_rad, 2 * std::numbers::pi);
  if (std::abs(turn) > 0.5) return 1e9;
  const double cx = 0.5 * size.width, cy = 0.5 * size.height;
  const double at_centre = (a.offset_px - cx * std::cos(a.angle_rad) - cy * std::sin(a.angle_rad)) -
                           (b.offset_px - cx * std::cos(b.angle_rad) - cy * std::sin(b.angle_rad));
  return std::abs(at_centre) + std::abs(turn) * 0.5 * std::hypot(cx, cy);
}

}  // namespace

double shown_roll_rad(double nx, double ny, int orientation) {
  const Eigen::Vector2d shown = display_from_stored(orientation) * Eigen::Vector2d(nx, ny);
  return std::atan2(shown.x(), -shown.y());
}

std::vector<FirstLine> lines_at_a_glance(const cv::Mat& bgr, const Camera& camera, int orientation) {
  if (std::min(bgr.cols, bgr.rows) < kGlanceSmallestSide) return {};
  const cv::Mat reduced = halved_until(bgr, kMostLongSide);
  const double shrink = static_cast<double>(reduced.cols) / bgr.cols;
  const SearchPicture small = search_picture(reduced, camera.scaled(shrink), kGlanceLongSide);
  return lines_of(small, small.scale * shrink, kGlanceLines, orientation, 1);
}

double log_odds_at_a_glance(const cv::Mat& bgr, const Camera& camera, int orientation,
                            const Evidence& region_weights) {
  double best = -1e3;
  for (const FirstLine& first : lines_at_a_glance(bgr, camera, orientation))
    best = std::max(best, weighted(first.evidence, region_weights));
  return best;
}

std::vector<FirstLine> first_lines(const SearchPicture& picture, int orientation) {
  return lines_of(picture, picture.scale, kFirstLines, orientation, kFirstStride);
}

std::vector<Eigen::Vector3d> likeliest_apart(std::vector<FirstLine> lines, const Evidence& region_weights,
                                             const cv::Size& small_picture) {
  for (FirstLine& first : lines) first.cut.score = weighted(first.evidence, region_weights);
  std::stable_sort(lines.begin(), lines.end(),
                   [](const auto& a, const auto& b) { return a.cut.score > b.cut.score; });
  std::vector<LineCandidate> cuts;
  std::vector<Eigen::Vector3d> chosen;
  for (const FirstLine& first : lines) {
    if (chosen.size() == kRefined) break;
    if (std::any_of(cuts.begin(), cuts.end(), [&](const LineCandidate& other) {
          return apart(first.cut, other, small_picture) < kApart;
        }))
      continue;
    cuts.push_back(first.cut);
    chosen.push_back(first.line);
  }
  return chosen;
}

}  // namespace lookdown::level
