#include "stages/place/planes/elevated_planes.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <set>

#include "pipeline/base/robust_statistics.h"
#include "stages/place/planes/off_plane_points.h"

namespace lookdown::place {
namespace {

constexpr double kLinkShare = 0.08;    ///< of a footprint's shorter side: the farthest neighbours on one roof
constexpr int kCellsOfLink = 8;        ///< of the raster that outlines are drawn on
constexpr double kFlatShare = 0.004;   ///< of the cameras' height: how flat a flat roof is
constexpr double kLeastHeight = 0.02;  ///< of the cameras' height: below it lies the ground's own relief
constexpr double kSpread = 3;          ///< standard deviations
constexpr std::size_t kPointsOfRoof = 10;
constexpr int kFewestSeenThrice = 5;
constexpr double kMostUnsure = 0.01;  ///< of the cameras' height: heights less sure than this tell little
constexpr double kLeastShare = 0.7;   ///< of all tie points inside the outline
constexpr double kMostSlope = 0.06;
constexpr std::size_t kFewestFrames = 3;

using Outline = std::vector<cv::Point2f>;

struct Point {
  Eigen::Vector3d at;
  double sigma = 0;
  std::vector<int> frames;
  bool used = false;
};

/// One roof.
struct Area {
  double height = 0, sigma = 0, size = 0;
  Outline outline;
  int tie_points = 0;
};

/// Within `slack` of the outline or inside it.
bool inside(const Outline& outline, const Eigen::Vector3d& p, double slack) {
  return cv::pointPolygonTest(outline, cv::Point2f(float(p.x()), float(p.y())), true) >= -slack;
}

/// Points of the ground that more than one frame still sees.
std::vector<Eigen::Vector3d> ground_points(const Network& network) {
  std::vector<char> seen(network.points.size(), 0);
  for (const Sighting& s : network.sightings) seen[std::size_t(s.point)] = 1;
  std::vector<Eigen::Vector3d> points;
  for (std::size_t i = 0; i < seen.size(); ++i)
    if (seen[i] && network.points[i].footing == Footing::on_plane)
      points.push_back(network.points[i].position);
  return points;
}

class Search {
 public:
  Search(const std::vector<TieFrame>& frames, const Group& group) : ground_(ground_points(group.network)) {
    std::vector<double> heights, sides;
    for (std::size_t i = 0; i < group.members.size(); ++i) {
      const Camera& c = group.network.camera_of(i);
      heights.push_back(group.network.poses[i].centre.z());
      sides.push_back(heights.back() * std::min(c.width_px, c.height_px) / c.fx_px);
    }
    height_ = median(heights);
    link_ = kLinkShare * median(sides);
    cell_ = link_ / kCellsOfLink;
    for (const TiePoint& p : group.raised)
      if (const auto point = intersect(frames, group, p);
          point && point->height_sigma < kMostUnsure * height_) {
        Point raised{point->position, std::hypot(point->height_sigma, kFlatShare * height_), {}};
        for (const Sight& s : point->sights) raised.frames.push_back(s.frame);
        points_.push_back(raised);
      }
    std::sort(points_.begin(), points_.end(),
              [](const Point& p, const Point& q) { return p.at.x() < q.at.x(); });
    find_neighbours();
    count_support();
  }

  std::vector<Area> areas() {
    std::vector<Area> found;
    for (;;) {
      const auto seed = best_seed();
      if (!seed) return found;
      const std::vector<int> members = grown_from(*seed);
      use(*seed);
      for (const int m : members) use(m);
      judge(members, 2 * kCellsOfLink, found);
    }
  }

 private:
  void find_neighbours() {
    neighbours_.resize(points_.size());
    for (std::size_t i = 0; i < points_.size(); ++i)
      for (std::size_t j = i + 1; j < points_.size() && points_[j].at.x() - points_[i].at.x() <= link_; ++j)
        if ((points_[j].at - points_[i].at).head<2>().norm() <= link_) {
          neighbours_[i].push_back(int(j));
          neighbours_[j].push_back(int(i));
        }
  }
  [[nodiscard]] bool level(const Point& p, double height, double times = kSpread) const {
    return std::abs(p.at.z() - height) <= times * p.sigma;
  }
  void count_support() {
    support_.assign(points_.size(), 0);
    for (std::size_t i = 0; i < points_.size(); ++i)
      for (const int j : neighbours_[i]) support_[i] += level(points_[std::size_t(j)], points_[i].at.z());
  }
  void use(int i) {
    Point& p = points_[std::size_t(i)];
    if (p.used) return;
    p.used = true;
    for (const int j : neighbours_[std::size_t(i)])
      support_[std::size_t(j)] -= level(p, points_[std::size_t(j)].at.z());
  }
  /// The point with the most unused neighbours at its height.
  [[nodiscard]] std::optional<int> best_seed() const {
    int most = 3;
    std::optional<int> best;
    for (std::size_t i = 0; i < points_.size(); ++i)
      if (!points_[i].used && support_[i] > most) most = support_[i], best = int(i);
    return best;
  }
  /// Level points that hang together with the seed, at the height that most of them agree on.
  [[nodiscard]] std::vector<int> grown_from(int seed) const {
    double height = points_[std::size_t(seed)].at.z();
    std::vector<int> members;
    for (int round = 0; round < 3; ++round) {
      members = {seed};
      std::vector<char> taken(points_.size(), 0);
      taken[std::size_t(seed)] = 1;
      for (std::size_t next = 0; next < members.size(); ++next)
        for (int j : neighbours_[std::size_t(members[next])]) {
          const Point& p = points_[std::size_t(j)];
          if (taken[std::size_t(j)] || p.used || !level(p, height)) continue;
          taken[std::size_t(j)] = 1;
          members.push_back(j);
        }
      height = height_of(members);
    }
    return members;
  }
  [[nodiscard]] double height_of(const std::vector<int>& members) const {
    std::vector<double> heights;
    heights.reserve(members.size());
    for (int m : members) heights.push_back(points_[std::size_t(m)].at.z());
    return median(heights);
  }
  /// Slope of what stands over the outline, near the height but not only at it; robust by one round of
  /// weights.
  [[nodiscard]] double slope(const Outline& outline, double height) const {
    Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero(), middle = Eigen::Vector3d::Zero();
    std::vector<const Point*> near;
    for (const Point& p : points_)
      if (inside(outline, p.at, cell_) && level(p, height, 3 * kSpread)) near.push_back(&p), middle += p.at;
    if (near.size() < 3) return 0;
    middle /= double(near.size());
    for (const Point* p : near) {
      const Eigen::Vector3d row((p->at - middle).x() / link_, (p->at - middle).y() / link_, 1);
      sum += row * row.transpose() / (p->sigma * p->sigma);
      right += row * (p->at.z() - height) / (p->sigma * p->sigma);
    }
    const Eigen::LDLT<Eigen::Matrix3d> solver(sum);
    const Eigen::Vector3d fit = solver.solve(right);
    const Eigen::Matrix3d spread = solver.solve(Eigen::Matrix3d::Identity());
    const double unsure = std::sqrt(std::max(spread(0, 0), spread(1, 1)));
    return std::max(0.0, fit.head<2>().norm() - 2 * unsure) / link_;
  }
  /// Roofs of one height with ground between them hang together at first: what does not pass as one plane is
  /// looked at again in pieces.
  void judge(const std::vector<int>& members, int reach_cells, std::vector<Area>& found) const {
    for (const Outline& outline : outlines_of(members, reach_cells)) {
      const std::vector<int> part = those_inside(outline, members);
      if (const auto area = judged(part, outline)) {
        found.push_back(*area);
      } else if (reach_cells > kCellsOfLink) {
        judge(part, kCellsOfLink, found);
      }
    }
  }
  [[nodiscard]] std::vector<int> those_inside(const Outline& outline, const std::vector<int>& members) const {
    std::vector<int> part;
    for (int m : members)
      if (inside(outline, points_[std::size_t(m)].at, cell_)) part.push_back(m);
    return part;
  }
  /// Round points that hang together, gaps narrower than the reach filled.
  [[nodiscard]] std::vector<Outline> outlines_of(const std::vector<int>& members, int reach_cells) const {
    if (members.size() < kPointsOfRoof) return {};
    const int room = reach_cells + 1;
    Eigen::Vector2d low = points_[std::size_t(members[0])].at.head<2>(), high = low;
    for (int m : members) {
      low = low.cwiseMin(points_[std::size_t(m)].at.head<2>());
      high = high.cwiseMax(points_[std::size_t(m)].at.head<2>());
    }
    const Eigen::Vector2d extent = (high - low) / cell_;
    cv::Mat cells(int(extent.y()) + 2 * room + 1, int(extent.x()) + 2 * room + 1, CV_8UC1, cv::Scalar(0));
    for (int m : members) {
      const Eigen::Vector2d at = (points_[std::size_t(m)].at.head<2>() - low) / cell_;
      cells.at<uchar>(int(at.y()) + room, int(at.x()) + room) = 255;
    }
    const cv::Size reach(reach_cells + 1, reach_cells + 1);
    cv::morphologyEx(cells, cells, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, reach));
    std::vector<std::vector<cv::Point>> borders;
    cv::findContours(cells, borders, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_SIMPLE);
    std::vector<Outline> outlines;
    for (const auto& border : borders) {
      Outline outline;
      for (const cv::Point& c : border)
        outline.emplace_back(float(low.x() + (c.x - room + 0.5) * cell_),
                             float(low.y() + (c.y - room + 0.5) * cell_));
      outlines.push_back(outline);
    }
    return outlines;
  }
  [[nodiscard]] std::optional<Area> judged(const std::vector<int>& members, const Outline& outline) const {
    if (members.size() < kPointsOfRoof) return std::nullopt;
    Area area;
    area.outline = outline;
    area.height = height_of(members);
    if (std::abs(area.height) < kLeastHeight * height_) return std::nullopt;
    std::set<int> frames;
    int thrice = 0;
    std::vector<double> off;
    for (int m : members) {
      const Point& p = points_[std::size_t(m)];
      frames.insert(p.frames.begin(), p.frames.end());
      thrice += p.frames.size() >= 3;
      off.push_back(std::abs(p.at.z() - area.height));
    }
    if (kSigmaOfMad * median(off) > kFlatShare * height_) return std::nullopt;
    if (thrice < kFewestSeenThrice || frames.size() < kFewestFrames) return std::nullopt;
    const cv::Size2f box = cv::minAreaRect(area.outline).size;
    if (std::min(box.width, box.height) < 0.3 * link_) return std::nullopt;
    std::size_t others = 0;
    for (const Point& p : points_) others += inside(area.outline, p.at, cell_) && !level(p, area.height);
    for (const Eigen::Vector3d& p : ground_) others += inside(area.outline, p, cell_);
    if (double(members.size()) < kLeastShare * double(members.size() + others)) return std::nullopt;
    if (slope(area.outline, area.height) > kMostSlope) return std::nullopt;
    area.size = cv::contourArea(area.outline);
    cv::approxPolyDP(outline, area.outline, cell_, true);
    area.tie_points = int(members.size());
    // The spots of one frame share the error of its pose: frames count, not spots.
    area.sigma = kSigmaOfMad * median(off) / std::sqrt(double(frames.size()));
    return area;
  }

  std::vector<Eigen::Vector3d> ground_;
  std::vector<Point> points_;
  std::vector<std::vector<int>> neighbours_;
  std::vector<int> support_;  ///< unused neighbours at the point's height
  double height_ = 0, link_ = 0, cell_ = 0;
};

}  // namespace

std::vector<LevelPlane> level_planes(const std::vector<TieFrame>& frames, const Group& group) {
  std::vector<Area> areas = Search(frames, group).areas();
  std::stable_sort(areas.begin(), areas.end(), [](const Area& p, const Area& q) { return p.size > q.size; });
  std::vector<LevelPlane> planes;
  std::vector<double> weights;
  for (const Area& area : areas) {
    std::size_t k = 0;
    while (k < planes.size() &&
           std::abs(planes[k].height - area.height) > kSpread * std::hypot(planes[k].sigma, area.sigma))
      ++k;
    if (k == planes.size()) planes.push_back({}), weights.push_back(0);
    LevelPlane& plane = planes[k];
    const double weight = 1 / (area.sigma * area.sigma);
    plane.height = (plane.height * weights[k] + area.height * weight) / (weights[k] + weight);
    weights[k] += weight;
    plane.sigma = 1 / std::sqrt(weights[k]);
    plane.tie_points += area.tie_points;
    plane.outlines.emplace_back();
    for (const cv::Point2f& p : area.outline) plane.outlines.back().emplace_back(p.x, p.y);
  }
  // A focal length that is off by a share puts every height off by that share.
  for (LevelPlane& plane : planes)
    plane.sigma = std::hypot(plane.sigma, plane.height * group.focal_sigma_share);
  return planes;
}

}  // namespace lookdown::place
