#include "stages/glare/across/clearest_views.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <optional>

namespace lookdown::glare {
namespace {

constexpr int kSamplesAcross = 6;  // of a spot

struct Bounds {
  double left = 1e300, top = 1e300, right = -1e300, bottom = -1e300;
};

// Oblique frames that look past the horizon have no outline on the plane and widen nothing.
Bounds bounds_of(const std::vector<MaskedView>& views) {
  Bounds bounds;
  for (const MaskedView& view : views) {
    const double right = view.place.camera.width_px - 1, bottom = view.place.camera.height_px - 1;
    const double side =
        view.place.mosaic_from_frame.depth({view.place.camera.cx_px, view.place.camera.cy_px});
    std::vector<Point2<MosaicPx>> corners;
    for (const Point2<StoredPx>& corner :
         {Point2<StoredPx>{0, 0}, {right, 0}, {right, bottom}, {0, bottom}}) {
      const Point2<UndistortedPx> p = view.place.camera.undistort(corner);
      if (view.place.mosaic_from_frame.depth(p) * side > 0)
        corners.push_back(view.place.mosaic_from_frame * p);
    }
    if (corners.size() < 4) continue;
    for (const auto& q : corners) {
      bounds.left = std::min(bounds.left, q.x), bounds.right = std::max(bounds.right, q.x);
      bounds.top = std::min(bounds.top, q.y), bounds.bottom = std::max(bounds.bottom, q.y);
    }
  }
  return bounds;
}

// Mosaic to mask of one frame.
class Sight {
 public:
  explicit Sight(const MaskedView& view)
      : view_(view), frame_from_mosaic_(view.place.mosaic_from_frame.inverse()) {
    const Camera& camera = view.place.camera;
    side_ = frame_from_mosaic_.depth(view.place.mosaic_from_frame *
                                     Point2<UndistortedPx>{camera.cx_px, camera.cy_px});
    reach_ = std::min(camera.monotonic_radius_px(), 2.0 * std::hypot(camera.width_px, camera.height_px));
  }

  [[nodiscard]] std::optional<double> glare_at(const Point2<MosaicPx>& q) const {
    const Camera& camera = view_.place.camera;
    if (frame_from_mosaic_.depth(q) * side_ <= 0) return std::nullopt;
    const Point2<UndistortedPx> p = frame_from_mosaic_ * q;
    if (std::hypot(p.x - camera.cx_px, p.y - camera.cy_px) > reach_) return std::nullopt;
    const Point2<StoredPx> s = camera.distort(p);
    if (s.x < 0 || s.y < 0 || s.x > camera.width_px - 1 || s.y > camera.height_px - 1) return std::nullopt;
    const int column =
        std::min(view_.glare.cols - 1, static_cast<int>((s.x + 0.5) * view_.glare.cols / camera.width_px));
    const int row =
        std::min(view_.glare.rows - 1, static_cast<int>((s.y + 0.5) * view_.glare.rows / camera.height_px));
    return view_.glare.at<uchar>(row, column) / 255.0;
  }

  // Mean over the spot; nothing when a part of it is not in the frame.
  [[nodiscard]] std::optional<double> glare_of(const Spot& spot) const {
    double sum = 0;
    for (int j = 0; j < kSamplesAcross; ++j)
      for (int i = 0; i < kSamplesAcross; ++i) {
        const double step = spot.side_px / kSamplesAcross;
        const auto glare = glare_at({spot.x_px + (i + 0.5) * step - spot.side_px / 2,
                                     spot.y_px + (j + 0.5) * step - spot.side_px / 2});
        if (!glare) return std::nullopt;
        sum += *glare;
      }
    return sum / (kSamplesAcross * kSamplesAcross);
  }

  [[nodiscard]] double distance_px(const Spot& spot) const {
    const Point2<UndistortedPx> p = frame_from_mosaic_ * Point2<MosaicPx>{spot.x_px, spot.y_px};
    return std::hypot(p.x - view_.place.camera.cx_px, p.y - view_.place.camera.cy_px);
  }

 private:
  const MaskedView& view_;
  Homography<UndistortedPx, MosaicPx> frame_from_mosaic_;
  double side_ = 1, reach_ = 0;
};

}  // namespace

std::vector<Spot> clearest_views(const std::vector<MaskedView>& views, int across, double least_share) {
  const Bounds bounds = bounds_of(views);
  const double longer = std::max(bounds.right - bounds.left, bounds.bottom - bounds.top);
  if (!(longer > 0)) return {};
  std::vector<Sight> sights(views.begin(), views.end());
  const double side = longer / across;
  std::vector<Spot> spots;
  for (double y = bounds.top + side / 2; y < bounds.bottom; y += side)
    for (double x = bounds.left + side / 2; x < bounds.right; x += side) {
      Spot spot{x, y, side};
      double nearest = 0;
      for (std::size_t i = 0; i < views.size(); ++i) {
        const auto glare = sights[i].glare_of(spot);
        if (!glare) continue;
        const double distance = sights[i].distance_px(spot);
        const bool better =
            *glare < spot.glare_share - 1e-9 || (*glare < spot.glare_share + 1e-9 && distance < nearest);
        if (spot.views == 0 || better)
          spot.frame = views[i].index, spot.glare_share = *glare, nearest = distance;
        spot.worst_glare_share = std::max(spot.worst_glare_share, *glare);
        ++spot.views;
      }
      if (spot.views > 0 && spot.worst_glare_share > least_share) spots.push_back(spot);
    }
  return spots;
}

void record_clearest_views(FlightRecord& flight, int group, const std::vector<MaskedView>& views) {
  constexpr int kSpotsAcross = 16;
  constexpr double kLeastShare = 0.02;
  const auto& to_world = flight.placement.geotransform;
  for (const Spot& spot : clearest_views(views, kSpotsAcross, kLeastShare)) {
    ClearestView view{
        group,     spot.x_px, spot.y_px, spot.side_px, spot.frame, spot.glare_share, spot.worst_glare_share,
        spot.views};
    if (to_world) {
      // Geotransforms count from the corner of the top-left pixel, positions here from its centre.
      view.x = (*to_world)[0] + (spot.x_px + 0.5) * (*to_world)[1] + (spot.y_px + 0.5) * (*to_world)[2];
      view.y = (*to_world)[3] + (spot.x_px + 0.5) * (*to_world)[4] + (spot.y_px + 0.5) * (*to_world)[5];
      view.side = spot.side_px * std::hypot((*to_world)[1], (*to_world)[4]);
    }
    flight.clearest_views.push_back(view);
  }
}

}  // namespace lookdown::glare
