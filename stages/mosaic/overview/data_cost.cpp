#include "stages/mosaic/overview/data_cost.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace lookdown::mosaic {
namespace {

constexpr double kUnknownBlurPx = 1.5;     // common practice: a good frame's blur when nobody measured it
constexpr double kResolutionWeight = 1.0;  // per doubling of the smallest thing resolved on the ground
constexpr double kSlantWeight =
    1.5;  // per unit of tan^2 of the view angle: what stands up leans by its tangent
constexpr double kEdgeWeight = 0.4;      // at the frame's edge, falling to none at its middle
constexpr double kFrameRimShare = 0.03;  // of the half side: lens corrections and vignetting are worst here
constexpr double kRimWeight = 1.0;
constexpr double kGlareWeight =
    40.0;  // above any sum of the others: glare is shown only where no frame is clean
/// Where glare lies densely no mask finds every speck of it: a frame that looks there from elsewhere is
/// better, if it costs no more than resolution and slant are worth.
constexpr double kNearGlareWeight = 12.0;

/// 0 in the middle of the frame, 1 at its nearest edge.
double nearness_to_edge(const Camera& camera, const Sighting& seen) {
  const double x = std::abs(2 * seen.x_px / (camera.width_px - 1.0) - 1),
               y = std::abs(2 * seen.y_px / (camera.height_px - 1.0) - 1);
  return std::max(x, y);
}

/// Doublings by which the frame resolves less on the ground than one mosaic pixel would.
double lost_resolution(const FrameRecord& record, const Sighting& seen) {
  const double blur_px = local_blur_fwhm_px(record, seen.x_px, seen.y_px, kUnknownBlurPx);
  const double resolved = std::hypot(1.0, blur_px) / seen.frame_px_per_mosaic_px;  // mosaic pixels
  return std::log2(std::max(resolved, 0.5));
}

}  // namespace

double local_blur_fwhm_px(const FrameRecord& record, double x_px, double y_px, double fallback_px) {
  if (!record.sharpness) return fallback_px;
  const Sharpness& sharpness = *record.sharpness;
  const double whole = sharpness.blur_fwhm_px.value_or(fallback_px);
  if (sharpness.tile_columns <= 0 || sharpness.tile_rows <= 0 || record.source.width_px <= 0) return whole;
  const int column = std::clamp(static_cast<int>(x_px * sharpness.tile_columns / record.source.width_px), 0,
                                sharpness.tile_columns - 1);
  const int row = std::clamp(static_cast<int>(y_px * sharpness.tile_rows / record.source.height_px), 0,
                             sharpness.tile_rows - 1);
  const std::size_t place = static_cast<std::size_t>(row) * sharpness.tile_columns + column;
  if (place < sharpness.tiles.size()) {
    const TileBlur& tile = sharpness.tiles[place];
    if (tile.column == column && tile.row == row && tile.blur_fwhm_px)
      return 0.5 * (*tile.blur_fwhm_px + whole);
  }
  return whole;
}

Preference::Preference(const FlightRecord& flight, const std::vector<FrameView>& views, std::string order)
    : order_(std::move(order)), age_rank_(flight.frames.size(), 0.0) {
  std::vector<int> indices;
  indices.reserve(views.size());
  for (const FrameView& view : views) indices.push_back(view.frame_index);
  const auto taken = [&](int index) { return flight.frames[index].info.taken_at_s.value_or(0); };
  std::stable_sort(indices.begin(), indices.end(), [&](int a, int b) { return taken(a) > taken(b); });
  for (std::size_t rank = 0; rank < indices.size(); ++rank)
    age_rank_[indices[rank]] = indices.size() > 1 ? static_cast<double>(rank) / (indices.size() - 1) : 0;
}

double Preference::dislike(const FrameRecord& record, const FrameView& view, const Sighting& seen, double x,
                           double y) const {
  const double tangent = view.tan_view_angle(x, y);
  const double edge = nearness_to_edge(view.camera, seen);
  const double rim =
      edge > 1 - kFrameRimShare ? kRimWeight * (edge - 1 + kFrameRimShare) / kFrameRimShare : 0;
  // A single rule counts a hundredfold, so that the others only break ties.
  constexpr double kRule = 100;
  double rule = 0;
  if (order_ == "newest") rule = kRule * age_rank_[view.frame_index];
  if (order_ == "sharpest")
    rule = kRule * std::log2(std::max(local_blur_fwhm_px(record, seen.x_px, seen.y_px, kUnknownBlurPx), 0.5));
  if (order_ == "straightest") rule = kRule * tangent;
  return rule + kResolutionWeight * lost_resolution(record, seen) + kSlantWeight * tangent * tangent +
         kEdgeWeight * edge * edge + rim;
}

void Preference::add_glare(const cv::Mat& glare_share, const cv::Mat& glare_around, cv::Mat& dislike) const {
  for (int row = 0; row < dislike.rows; ++row)
    for (int column = 0; column < dislike.cols; ++column) {
      const double share = glare_share.at<uchar>(row, column) / 255.0;
      if (share > 0) dislike.at<float>(row, column) += static_cast<float>(kGlareWeight * (0.2 + 0.8 * share));
      dislike.at<float>(row, column) +=
          static_cast<float>(kNearGlareWeight * glare_around.at<uchar>(row, column) / 255.0);
    }
}

}  // namespace lookdown::mosaic
