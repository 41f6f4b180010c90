#include "stages/place/pairs/pair_geometry.h"

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>

namespace lookdown::place {
namespace {

constexpr std::size_t kFewestMatches = 10;  ///< matches below which nothing is claimed
constexpr double kUnguidedRatio = 0.82;
constexpr double kGuidedRatio = 0.9;
constexpr double kTurnTolerance = 0.45;   ///< radians
constexpr double kScaleTolerance = 0.45;  ///< natural logarithm
constexpr double kGreatestScale = 4;      ///< size ratio of two frames of one flight
/// Beyond, a lens model is near its fold or a fisheye near 72 degrees off its axis.
constexpr double kLeastMagnification = 0.1;

/// What a plane does not explain (relief, the lens before it is known) grows with the picture: tolerances
/// hold for copies of this diagonal (pixels) and grow with larger ones. Chosen on copies of 800 x 600.
constexpr double kDiagonalOfTolerances = 1000;

double stored_px(const TieFrame& frame, double work_px) {
  const double diagonal_px = std::hypot(frame.camera.width_px, frame.camera.height_px);
  return work_px * std::max(1 / double(frame.features.work_scale), diagonal_px / kDiagonalOfTolerances);
}

/// Where a frame shows what its undistorted pixels are.
class Shown {
 public:
  /// `margin_px`: so far beyond its rim a frame is taken to go on.
  explicit Shown(const Camera& camera, double margin_px = 0)
      : camera_(camera), margin_px_(margin_px), reach_px_(camera.reach_px(kLeastMagnification)) {}
  /// Empty where the frame does not show it.
  [[nodiscard]] std::optional<Point2<StoredPx>> at(const Point2<UndistortedPx>& p) const {
    if (std::hypot(p.x - camera_.cx_px, p.y - camera_.cy_px) > reach_px_) return std::nullopt;
    const Point2<StoredPx> raw = camera_.distort(p);
    if (raw.x < -margin_px_ || raw.y < -margin_px_ || raw.x > camera_.width_px + margin_px_ ||
        raw.y > camera_.height_px + margin_px_)
      return std::nullopt;
    return raw;
  }

 private:
  const Camera& camera_;
  double margin_px_, reach_px_;
};

struct Fit {
  Eigen::Matrix3d b_from_a;
  std::vector<Match> agreeing;
};

std::optional<Fit> fit_homography(const TieFrame& a, const TieFrame& b, const std::vector<Match>& matches,
                                  double tolerance_px) {
  if (matches.size() < kFewestMatches) return std::nullopt;
  std::vector<cv::Point2f> from, to;
  for (const Match& m : matches) {
    const auto& p = a.undistorted[std::size_t(m.a)];
    const auto& q = b.undistorted[std::size_t(m.b)];
    from.emplace_back(float(p.x), float(p.y));
    to.emplace_back(float(q.x), float(q.y));
  }
  std::vector<std::uint8_t> agrees;
  const cv::Mat found = cv::findHomography(from, to, cv::USAC_MAGSAC, tolerance_px, agrees, 3000, 0.9995);
  if (found.empty()) return std::nullopt;
  Fit fit;
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 3; ++c) fit.b_from_a(r, c) = found.at<double>(r, c);
  for (std::size_t i = 0; i < matches.size(); ++i)
    if (agrees[i]) fit.agreeing.push_back(matches[i]);
  if (fit.agreeing.size() < kFewestMatches) return std::nullopt;
  return fit;
}

/// Local size ratio and handedness of a homography at a point: determinant of its Jacobian (square of the
/// scale).
double area_ratio_at(const Eigen::Matrix3d& h, double x, double y) {
  const double w = h.row(2).dot(Eigen::Vector3d(x, y, 1));
  return h.determinant() / (w * w * w);
}

/// A plane seen from above keeps its handedness, its vanishing line stays out of the common ground, and its
/// scale stays sane.
bool looks_like_ground(const TieFrame& a, const Fit& fit) {
  double sign = 0;
  for (const Match& m : fit.agreeing) {
    const auto& p = a.undistorted[std::size_t(m.a)];
    const double w = fit.b_from_a.row(2).dot(Eigen::Vector3d(p.x, p.y, 1));
    if (sign == 0) sign = w;
    if (w * sign <= 0) return false;
    const double ratio = area_ratio_at(fit.b_from_a, p.x, p.y);
    if (!(ratio > 1 / (kGreatestScale * kGreatestScale)) || !(ratio < kGreatestScale * kGreatestScale))
      return false;
  }
  return true;
}

/// Matches on one line (a boardwalk, the kite line) fix no plane: their smaller spread must be a fair part of
/// the frame.
bool spread_enough(const TieFrame& a, const std::vector<Match>& matches) {
  Eigen::Vector2d mean = Eigen::Vector2d::Zero();
  for (const Match& m : matches)
    mean += Eigen::Vector2d(a.undistorted[std::size_t(m.a)].x, a.undistorted[std::size_t(m.a)].y);
  mean /= double(matches.size());
  Eigen::Matrix2d spread = Eigen::Matrix2d::Zero();
  for (const Match& m : matches) {
    const Eigen::Vector2d d =
        Eigen::Vector2d(a.undistorted[std::size_t(m.a)].x, a.undistorted[std::size_t(m.a)].y) - mean;
    spread += d * d.transpose() / double(matches.size());
  }
  const double narrow =
      std::sqrt(std::max(0.0, Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d>(spread).eigenvalues()(0)));
  return narrow > 0.012 * std::max(a.camera.width_px, a.camera.height_px);
}

/// Brown & Lowe 2007, eq. 13: n_inliers > 8 + 0.3 n, n counting the matches that lie in the overlap.
bool enough_agree(const TieFrame& a, const TieFrame& b, const Fit& fit, const std::vector<Match>& matches,
                  double share = 0.3) {
  std::size_t in_overlap = 0;
  const Shown in_b(b.camera);
  for (const Match& m : matches) {
    const auto& p = a.undistorted[std::size_t(m.a)];
    const Eigen::Vector3d q = fit.b_from_a * Eigen::Vector3d(p.x, p.y, 1);
    if (in_b.at({q.x() / q.z(), q.y() / q.z()})) ++in_overlap;
  }
  return double(fit.agreeing.size()) > 8 + share * double(in_overlap);
}

/// The widest net first, then a narrow one around the better homography.
std::optional<Tie> refine(const std::vector<TieFrame>& frames, int a_index, int b_index,
                          const Eigen::Matrix3d& first, double radius, double tolerance) {
  const TieFrame& a = frames[std::size_t(a_index)];
  const TieFrame& b = frames[std::size_t(b_index)];
  Eigen::Matrix3d b_from_a = first;
  std::optional<Fit> fit;
  for (double reach : {radius, 2 * tolerance}) {
    const std::vector<Match> near =
        match_near(a.features, b.features, expect(a, b, b_from_a), stored_px(b, reach), kGuidedRatio);
    fit = fit_homography(a, b, near, stored_px(b, tolerance));
    if (!fit || !looks_like_ground(a, *fit) || !enough_agree(a, b, *fit, near)) return std::nullopt;
    b_from_a = fit->b_from_a;
  }
  if (fit->agreeing.size() < 2 * kFewestMatches || !spread_enough(a, fit->agreeing)) return std::nullopt;
  Tie tie;
  tie.a = a_index;
  tie.b = b_index;
  tie.b_from_a.matrix = fit->b_from_a;
  tie.matches = std::move(fit->agreeing);
  return tie;
}

}  // namespace

void undistort_spots(TieFrame& frame) {
  frame.undistorted.resize(frame.features.size());
  for (std::size_t i = 0; i < frame.features.size(); ++i) {
    const Feature& spot = frame.features.spots[i];
    frame.undistorted[i] = frame.camera.undistort({spot.x_px, spot.y_px});
  }
}

std::vector<Expectation> expect(const TieFrame& a, const TieFrame& b, const Eigen::Matrix3d& b_from_a) {
  std::vector<Expectation> expected(a.features.size());
  const Shown in_b(b.camera, 0.1 * b.camera.width_px);
  const Eigen::Vector3d vanishing = b_from_a.row(2);
  const double sign =
      vanishing.dot(Eigen::Vector3d(a.camera.width_px / 2.0, a.camera.height_px / 2.0, 1)) < 0 ? -1 : 1;
  for (std::size_t i = 0; i < expected.size(); ++i) {
    const double px = a.undistorted[i].x, py = a.undistorted[i].y;
    const Eigen::Vector3d q = b_from_a * Eigen::Vector3d(px, py, 1);
    if (q.z() * sign <= 0) continue;
    const double x = q.x() / q.z(), y = q.y() / q.z();
    const std::optional<Point2<StoredPx>> raw = in_b.at({x, y});
    if (!raw) continue;
    // Jacobian of the homography: how a step in frame a shows in frame b.
    Eigen::Matrix2d step;
    step << b_from_a(0, 0) - x * b_from_a(2, 0), b_from_a(0, 1) - x * b_from_a(2, 1),
        b_from_a(1, 0) - y * b_from_a(2, 0), b_from_a(1, 1) - y * b_from_a(2, 1);
    step /= q.z();
    Expectation& e = expected[i];
    e.x_px = float(raw->x);
    e.y_px = float(raw->y);
    e.turn_rad = float(std::atan2(step(1, 0) - step(0, 1), step(0, 0) + step(1, 1)));
    e.log_scale = float(0.5 * std::log(std::max(1e-6, std::abs(step.determinant()))));
    e.inside = true;
  }
  return expected;
}

double overlap_share(const TieFrame& a, const TieFrame& b, const Eigen::Matrix3d& b_from_a) {
  constexpr int steps = 12;
  const Shown in_b(b.camera);
  int inside = 0;
  const double sign =
      b_from_a.row(2).dot(Eigen::Vector3d(a.camera.width_px / 2.0, a.camera.height_px / 2.0, 1)) < 0 ? -1 : 1;
  for (int r = 0; r < steps; ++r)
    for (int c = 0; c < steps; ++c) {
      const auto p =
          a.camera.undistort({(c + 0.5) / steps * a.camera.width_px, (r + 0.5) / steps * a.camera.height_px});
      const Eigen::Vector3d q = b_from_a * Eigen::Vector3d(p.x, p.y, 1);
      if (q.z() * sign > 0 && in_b.at({q.x() / q.z(), q.y() / q.z()})) ++inside;
    }
  return double(inside) / (steps * steps);
}

std::optional<Tie> tie_unguided(const std::vector<TieFrame>& frames, int a_index, int b_index, Look look) {
  const TieFrame& a = frames[std::size_t(a_index)];
  const TieFrame& b = frames[std::size_t(b_index)];
  std::vector<Match> matches;
  if (look == Look::first) {
    matches = match_all(a.features, a.leading, b.features, b.leading, kUnguidedRatio);
  } else {
    matches = match_all(a.features, widen(a.features, a.features.size()), b.features,
                        widen(b.features, b.features.size()), kUnguidedRatio);
  }
  const std::vector<Match> alike =
      agreeing_in_turn_and_scale(a.features, b.features, matches, kTurnTolerance, kScaleTolerance);
  const auto fit = fit_homography(a, b, alike, stored_px(b, 1.6 * kHomographyTolerance));
  if (!fit || !looks_like_ground(a, *fit) || !enough_agree(a, b, *fit, alike)) return std::nullopt;
  return refine(frames, a_index, b_index, fit->b_from_a, 5 * kHomographyTolerance, kHomographyTolerance);
}

std::optional<Tie> tie_guided(const std::vector<TieFrame>& frames, int a, int b,
                              const Eigen::Matrix3d& b_from_a, double radius, double tolerance) {
  return refine(frames, a, b, b_from_a, radius, tolerance);
}

std::optional<Tie> tie_by_matches(const TieFrame& a, const TieFrame& b, const std::vector<Match>& matches,
                                  double least_share) {
  auto fit = fit_homography(a, b, matches, stored_px(b, kHomographyTolerance));
  if (!fit || !looks_like_ground(a, *fit) || !enough_agree(a, b, *fit, matches, least_share))
    return std::nullopt;
  if (fit->agreeing.size() < 2 * kFewestMatches || !spread_enough(a, fit->agreeing)) return std::nullopt;
  Tie tie;
  tie.b = 1;
  tie.b_from_a.matrix = fit->b_from_a;
  tie.matches = std::move(fit->agreeing);
  return tie;
}

}  // namespace lookdown::place
