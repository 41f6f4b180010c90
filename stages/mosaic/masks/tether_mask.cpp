#include "stages/mosaic/masks/tether_mask.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::mosaic {
namespace {

constexpr int kMostLines = 4;
constexpr int kMostCandidates = 12;
constexpr double kLeastLength = 0.3;       // of the picture's shorter side
constexpr double kLeastAlone = 0.6;        // of the cells asked along the band
constexpr double kMostAloneBeside = 0.25;  // of the cells asked on its two sides
constexpr int kBeside = 6;                 // cells from the middle of the band
constexpr int kWidest = 9;                 // cells: what is wider is no line
constexpr int kHalfWidth = 2;              // cells that are marked on either side of the middle
constexpr double kEdgeReach =
    0.06;                         // of the diagonal: so near to the edge the band counts as running into it
constexpr double kStandsOut = 2;  // times more than its two sides differ

struct StraightLine {
  cv::Point2d on, along;  // a point of it, and a unit vector
  [[nodiscard]] cv::Point2d across() const { return {-along.y, along.x}; }
  [[nodiscard]] cv::Point at(double step, double aside) const {
    const cv::Point2d p = on + step * along + aside * across();
    return {cvRound(p.x), cvRound(p.y)};
  }
};

bool marked(const cv::Mat& mask, cv::Point p) {
  return cv::Rect({}, mask.size()).contains(p) && mask.at<uchar>(p) != 0;
}

// The stretch of a line inside the usable part of the frame.
struct Chord {
  int first = 0, last = -1;
  [[nodiscard]] int length() const { return last - first + 1; }
};

Chord chord_of(const StraightLine& line, const cv::Mat& usable) {
  const int reach = cvCeil(std::hypot(usable.cols, usable.rows));
  Chord chord{reach, -reach};
  for (int step = -reach; step <= reach; ++step)
    if (marked(usable, line.at(step, 0))) chord = {std::min(chord.first, step), std::max(chord.last, step)};
  return chord;
}

bool alone_near(const cv::Mat& alone, const StraightLine& line, int step, double aside) {
  return marked(alone, line.at(step, aside - 1)) || marked(alone, line.at(step, aside)) ||
         marked(alone, line.at(step, aside + 1));
}

// The stretch from the first to the last of the cells that stand alone; lone ones far from the others do not
// lengthen it.
Chord stretch_alone(const StraightLine& line, const Chord& chord, const cv::Mat& asked,
                    const cv::Mat& alone) {
  Chord best, now;
  double worth = 0, best_worth = 0;
  // The sub-range with the greatest sum, where a cell alone counts for the band and one contradicted counts
  // against it.
  for (int step = chord.first; step <= chord.last; ++step) {
    if (worth <= 0) now.first = step, worth = 0;
    if (marked(asked, line.at(step, 0)))
      worth += alone_near(alone, line, step, 0) ? 1.0 : -kLeastAlone / (1 - kLeastAlone);
    if (worth > best_worth) best_worth = worth, best = {now.first, step};
  }
  return best;
}

double share_alone(const StraightLine& line, const Chord& stretch, double aside, const cv::Mat& asked,
                   const cv::Mat& alone) {
  double count = 0, all = 0;
  for (int step = stretch.first; step <= stretch.last; ++step)
    if (marked(asked, line.at(step, aside))) ++all, count += alone_near(alone, line, step, aside);
  return all > 0 ? count / all : 0;
}

// The band against its surroundings: |middle - mean of the sides| over |difference of the sides|, of the
// means along the stretch.
bool stands_out(const StraightLine& line, const Chord& stretch, const cv::Mat& bgr, const cv::Mat& usable) {
  cv::Vec3d middle{}, sides{};
  for (int step = stretch.first; step <= stretch.last; ++step) {
    const cv::Point here = line.at(step, 0), left = line.at(step, -kBeside), right = line.at(step, kBeside);
    if (!marked(usable, here) || !marked(usable, left) || !marked(usable, right)) continue;
    const cv::Vec3d a = bgr.at<cv::Vec3b>(left), b = bgr.at<cv::Vec3b>(right), c = bgr.at<cv::Vec3b>(here);
    middle += c - 0.5 * (a + b);
    sides += a - b;
  }
  return cv::norm(middle) > kStandsOut * cv::norm(sides);
}

// What is left of a mask without its broad pieces.
cv::Mat narrow_parts(const cv::Mat& alone) {
  cv::Mat broad;
  cv::morphologyEx(alone, broad, cv::MORPH_OPEN,
                   cv::getStructuringElement(cv::MORPH_ELLIPSE, {kWidest, kWidest}));
  cv::dilate(broad, broad, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  return alone & ~broad;
}

std::vector<StraightLine> candidates(const cv::Mat& narrow, double least_cells) {
  std::vector<cv::Vec2f> found;
  cv::HoughLines(narrow, found, 1, CV_PI / 360, std::max(10, cvFloor(kLeastAlone * least_cells)));
  std::vector<StraightLine> lines;
  for (const cv::Vec2f& polar : found) {  // strongest first
    if (static_cast<int>(lines.size()) == kMostCandidates) break;
    const cv::Point2d normal(std::cos(polar[1]), std::sin(polar[1]));
    lines.push_back({polar[0] * normal, {-normal.y, normal.x}});
  }
  return lines;
}

// What lines_in_view looks at.
struct Evidence {
  const cv::Mat &bgr, &usable, &asked, &alone;
};

// The stretch over which a candidate is a line in view; empty when it is none.
Chord stretch_in_view(const StraightLine& line, const Evidence& evidence) {
  const cv::Size size = evidence.alone.size();
  const double least_length = kLeastLength * std::min(size.width, size.height),
               edge_reach = kEdgeReach * std::hypot(size.width, size.height);
  const Chord chord = chord_of(line, evidence.usable);
  Chord stretch = stretch_alone(line, chord, evidence.asked, evidence.alone);
  const bool from_edge = stretch.first - chord.first < edge_reach,
             to_edge = chord.last - stretch.last < edge_reach;
  if (stretch.length() < least_length || (!from_edge && !to_edge)) return {};
  for (const int side : {-kBeside, kBeside})
    if (share_alone(line, stretch, side, evidence.asked, evidence.alone) > kMostAloneBeside) return {};
  if (!stands_out(line, stretch, evidence.bgr, evidence.usable)) return {};
  if (from_edge) stretch.first = chord.first;
  if (to_edge) stretch.last = chord.last;
  return stretch;
}

}  // namespace

cv::Mat lines_in_view(const cv::Mat& bgr, const cv::Mat& usable, const cv::Mat& asked, const cv::Mat& alone) {
  const double least_length = kLeastLength * std::min(alone.cols, alone.rows);
  cv::Mat bands, narrow = narrow_parts(alone);
  for (int round = 0; round < kMostLines; ++round) {
    bool found = false;
    for (const StraightLine& line : candidates(narrow, least_length)) {
      const Chord stretch = stretch_in_view(line, {bgr, usable, asked, alone});
      if (stretch.length() <= 0) continue;
      if (bands.empty()) bands = cv::Mat(alone.size(), CV_8UC1, cv::Scalar(0));
      const cv::Point from = line.at(stretch.first, 0), to = line.at(stretch.last, 0);
      // Where the line hangs through, or crosses a thing that is drawn on a plane of its own, it leaves the
      // straight a little.
      cv::Mat corridor(alone.size(), CV_8UC1, cv::Scalar(0)), near_by;
      cv::line(corridor, from, to, cv::Scalar(255), 2 * kBeside + 1);
      cv::dilate(narrow & corridor, near_by, {});
      bands |= near_by;
      cv::line(bands, from, to, cv::Scalar(255), 2 * kHalfWidth + 1);
      narrow.setTo(0, corridor);  // or the same line is found again, a little turned
      found = true;
      break;
    }
    if (!found) break;
  }
  return bands;
}

}  // namespace lookdown::mosaic
