#include "stages/place/pairs/affine_simulation.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "stages/place/pairs/pair_geometry.h"

namespace lookdown::place {
namespace {

constexpr double kSimulatedRatio = 0.78;
constexpr int kSpotsOfView = 1100;
/// Hundreds of view pairs add up their chance matches, so that the agreeing ones are a smaller share than in
/// a plain comparison; by chance alone one in ten thousand agrees.
constexpr double kLeastAgreeingShare = 0.1;
constexpr double kWorkMegapixels = 0.8;

struct SimulatedView {
  double tilt = 1;      ///< foreshortening, 1 / cos of the simulated angle
  double turn_deg = 0;  ///< direction of the tilt
};

/// Tilts sqrt(2), 2, 2 sqrt(2), 4 with directions 72 degrees / tilt apart, as in Morel & Yu, sec. 3.
std::vector<SimulatedView> simulated() {
  std::vector<SimulatedView> views{{1, 0}};
  for (double tilt : {std::numbers::sqrt2, 2.0, 2 * std::numbers::sqrt2, 4.0})
    for (double turn = 0; turn < 180 - 1e-9; turn += 72 / tilt) views.push_back({tilt, turn});
  return views;
}

/// The picture turned, then shrunk along x by the tilt; `view_from_picture` gets the 2x3 map.
cv::Mat tilted(const cv::Mat& grey, const SimulatedView& view, cv::Matx23d& view_from_picture) {
  const double c = std::cos(view.turn_deg * CV_PI / 180), s = std::sin(view.turn_deg * CV_PI / 180);
  const double w = grey.cols - 1, h = grey.rows - 1;
  double left = 0, top = 0, right = 0, bottom = 0;
  for (const auto& p : {cv::Point2d(0, 0), cv::Point2d(w, 0), cv::Point2d(0, h), cv::Point2d(w, h)}) {
    left = std::min(left, c * p.x - s * p.y);
    right = std::max(right, c * p.x - s * p.y);
    top = std::min(top, s * p.x + c * p.y);
    bottom = std::max(bottom, s * p.x + c * p.y);
  }
  const cv::Matx23d turn(c, -s, -left, s, c, -top);
  cv::Mat turned, shrunk;
  cv::warpAffine(grey, turned, turn, cv::Size(int(right - left) + 1, int(bottom - top) + 1), cv::INTER_LINEAR,
                 cv::BORDER_REPLICATE);
  if (view.tilt == 1) {
    view_from_picture = turn;
    return turned;
  }
  // 0.8 sqrt(t^2 - 1): the blur that keeps the shrunk direction free of aliasing (Morel & Yu, sec. 3.1).
  cv::GaussianBlur(turned, turned, cv::Size(0, 0), 0.8 * std::sqrt(view.tilt * view.tilt - 1), 0.01);
  const cv::Matx23d shrink(1 / view.tilt, 0, 0, 0, 1, 0);
  cv::warpAffine(turned, shrunk, shrink, cv::Size(std::max(1, int(turned.cols / view.tilt)), turned.rows),
                 cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  for (int col = 0; col < 3; ++col) {
    view_from_picture(0, col) = turn(0, col) / view.tilt;
    view_from_picture(1, col) = turn(1, col);
  }
  return shrunk;
}

/// Spots of a simulated view brought back to the frame; those on the filled border are left out.
FrameFeatures spots_of_view(const cv::Mat& grey, const SimulatedView& view, double frame_px_per_px,
                            int width_px, int height_px) {
  cv::Matx23d view_from_picture;
  const cv::Mat picture = tilted(grey, view, view_from_picture);
  FrameFeatures found = find_features(picture, picture.cols, picture.rows, {}, {100, kSpotsOfView * 3 / 2});
  cv::Matx23d back;
  cv::invertAffineTransform(view_from_picture, back);
  FrameFeatures kept;
  kept.work_scale = float(1 / frame_px_per_px);
  for (std::size_t i = 0; i < found.size() && kept.size() < std::size_t(kSpotsOfView); ++i) {
    Feature s = found.spots[i];
    const double x = back(0, 0) * s.x_px + back(0, 1) * s.y_px + back(0, 2),
                 y = back(1, 0) * s.x_px + back(1, 1) * s.y_px + back(1, 2);
    const double dx = back(0, 0) * std::cos(s.angle_rad) + back(0, 1) * std::sin(s.angle_rad);
    const double dy = back(1, 0) * std::cos(s.angle_rad) + back(1, 1) * std::sin(s.angle_rad);
    const double border = s.size_px;
    if (x < border || y < border || x > grey.cols - 1 - border || y > grey.rows - 1 - border) continue;
    s.x_px = float((x + 0.5) * frame_px_per_px - 0.5);
    s.y_px = float((y + 0.5) * frame_px_per_px - 0.5);
    s.angle_rad = float(std::atan2(dy, dx));
    s.size_px = float(s.size_px * std::sqrt(view.tilt) * frame_px_per_px);
    if (s.x_px < 0 || s.y_px < 0 || s.x_px >= float(width_px) || s.y_px >= float(height_px)) continue;
    kept.spots.push_back(s);
    kept.descriptors.insert(kept.descriptors.end(), found.descriptor(i),
                            found.descriptor(i) + kDescriptorBytes);
  }
  return kept;
}

/// Frames of the pair with the matched spots of all views pooled, for the homography.
struct Pool {
  TieFrame a, b;
  std::vector<Match> matches;
};

void pool_spot(TieFrame& into, const FrameFeatures& from, int spot) {
  into.features.spots.push_back(from.spots[std::size_t(spot)]);
  into.features.descriptors.insert(into.features.descriptors.end(), from.descriptor(std::size_t(spot)),
                                   from.descriptor(std::size_t(spot)) + kDescriptorBytes);
}

/// Which two places a match joins, coarsely. A true match shows in several view pairs, a chance match hardly
/// ever in two.
std::array<int, 4> places(const Feature& p, const Feature& q, double cell_px) {
  return {int(p.x_px / cell_px), int(p.y_px / cell_px), int(q.x_px / cell_px), int(q.y_px / cell_px)};
}

Pool match_views(const TieFrame& a, const TiltedViews& views_a, const TieFrame& b, const TiltedViews& views_b,
                 Simulate simulate) {
  std::vector<WideDescriptors> wide_a, wide_b;
  for (const auto& v : views_a) wide_a.push_back(widen(v, v.size()));
  for (const auto& v : views_b) wide_b.push_back(widen(v, v.size()));
  std::vector<std::vector<Match>> found(views_a.size() * views_b.size());
  tbb::parallel_for(std::size_t(0), found.size(), [&](std::size_t k) {
    const std::size_t i = k / views_b.size(), j = k % views_b.size();
    if (simulate == Simulate::one_side && i > 0 && j > 0) return;
    found[k] = match_all(views_a[i], wide_a[i], views_b[j], wide_b[j], kSimulatedRatio);
  });
  Pool pool;
  pool.a.camera = a.camera;
  pool.b.camera = b.camera;
  pool.a.features.work_scale = views_a[0].work_scale;
  pool.b.features.work_scale = views_b[0].work_scale;
  const double cell_px = 4.0 / double(pool.a.features.work_scale);
  const auto places_of = [&](std::size_t k, const Match& m) {
    return places(views_a[k / views_b.size()].spots[std::size_t(m.a)],
                  views_b[k % views_b.size()].spots[std::size_t(m.b)], cell_px);
  };
  std::map<std::array<int, 4>, int> times;
  for (std::size_t k = 0; k < found.size(); ++k)
    for (const Match& m : found[k]) ++times[places_of(k, m)];
  for (std::size_t k = 0; k < found.size(); ++k)
    for (const Match& m : found[k]) {
      int& count = times[places_of(k, m)];
      if (count < 2) continue;
      count = 0;  // once is enough for the homography
      pool.matches.push_back({int(pool.a.features.size()), int(pool.b.features.size())});
      pool_spot(pool.a, views_a[k / views_b.size()], m.a);
      pool_spot(pool.b, views_b[k % views_b.size()], m.b);
    }
  undistort_spots(pool.a);
  undistort_spots(pool.b);
  return pool;
}

}  // namespace

TiltedViews tilted_views(const cv::Mat& grey, int width_px, int height_px) {
  cv::Mat copy = grey;
  const double share = kWorkMegapixels * 1e6 / (double(grey.cols) * grey.rows);
  if (share < 1) cv::resize(grey, copy, cv::Size(), std::sqrt(share), std::sqrt(share), cv::INTER_AREA);
  const std::vector<SimulatedView> views = simulated();
  TiltedViews result(views.size());
  tbb::parallel_for(std::size_t(0), views.size(), [&](std::size_t v) {
    result[v] = spots_of_view(copy, views[v], double(width_px) / copy.cols, width_px, height_px);
  });
  return result;
}

std::optional<Tie> tie_tilted(std::vector<TieFrame>& frames, int a, const TiltedViews& views_a, int b,
                              const TiltedViews& views_b, Simulate simulate) {
  const Pool pool = match_views(frames[std::size_t(a)], views_a, frames[std::size_t(b)], views_b, simulate);
  auto tie = tie_by_matches(pool.a, pool.b, pool.matches, kLeastAgreeingShare);
  if (!tie) return std::nullopt;
  for (Match& m : tie->matches) {
    TieFrame& fa = frames[std::size_t(a)];
    TieFrame& fb = frames[std::size_t(b)];
    pool_spot(fa, pool.a.features, m.a);
    pool_spot(fb, pool.b.features, m.b);
    fa.undistorted.push_back(pool.a.undistorted[std::size_t(m.a)]);
    fb.undistorted.push_back(pool.b.undistorted[std::size_t(m.b)]);
    m = {int(fa.features.size()) - 1, int(fb.features.size()) - 1};
  }
  tie->a = a;
  tie->b = b;
  return tie;
}

}  // namespace lookdown::place
