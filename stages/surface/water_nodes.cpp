#include "stages/surface/water_nodes.h"

#include <algorithm>
#include <mutex>

namespace lookdown::surface {
namespace {

/// Votes of one frame: +1 where it calls a node water, -1 where it shows the node and does not.
cv::Mat votes_of(const FramePlacement& placed, const cv::Mat& mask, const NodeGrid& grid,
                 const cv::Mat& heights) {
  cv::Mat votes = cv::Mat::zeros(heights.size(), CV_16SC1);
  const Camera& camera = placed.camera;
  for (int row = 0; row < grid.rows; ++row)
    for (int column = 0; column < grid.columns; ++column) {
      const Eigen::Vector3d ground = grid.ground_from_node * Eigen::Vector3d(column, row, 1);
      double depth = 0;
      const auto ideal =
          project(placed.pose, camera, {ground.x(), ground.y(), heights.at<float>(row, column)}, &depth);
      if (depth <= 0 || ideal.x < -0.3 * camera.width_px || ideal.y < -0.3 * camera.height_px ||
          ideal.x > 1.3 * camera.width_px || ideal.y > 1.3 * camera.height_px)
        continue;
      const Point2<StoredPx> stored =
          camera.has_distortion() ? camera.distort(ideal) : Point2<StoredPx>{ideal.x, ideal.y};
      if (stored.x < 0 || stored.y < 0 || stored.x > camera.width_px - 1 || stored.y > camera.height_px - 1)
        continue;
      const bool is_water =
          !mask.empty() && mask.at<uchar>(int(stored.y * mask.rows / camera.height_px),
                                          int(stored.x * mask.cols / camera.width_px)) > 127;
      votes.at<short>(row, column) = is_water ? 1 : -1;
    }
  return votes;
}

}  // namespace

cv::Mat water_nodes(const FlightRecord& flight, const std::vector<SweepView>& views, const NodeGrid& grid,
                    const cv::Mat& heights, RunContext& context) {
  cv::Mat sum = cv::Mat::zeros(heights.size(), CV_16SC1);
  const auto has_mask = [&](const SweepView& view) {
    const auto& glare = flight.frames[std::size_t(view.frame)].glare;
    return glare && !glare->water_mask_file.empty();
  };
  if (std::none_of(views.begin(), views.end(), has_mask)) return sum > 0;
  std::mutex guard;  // sums of whole numbers do not depend on their order
  const std::int64_t peak_bytes = 60'000'000 + 2LL * grid.columns * grid.rows;
  context.scheduler.for_each_frame(
      views.size(), peak_bytes,
      [&](std::size_t i) {
        const FrameRecord& frame = flight.frames[std::size_t(views[i].frame)];
        if (!frame.glare) return;
        cv::Mat mask;
        if (has_mask(views[i])) {
          const auto read = context.reader.grey(context.out / frame.glare->water_mask_file);
          if (!read) return;
          mask = *read;
        }
        const cv::Mat votes = votes_of(frame.placement, mask, grid, heights);
        const std::lock_guard lock(guard);
        sum += votes;
      },
      [](std::size_t, const std::optional<Fault>&) {});
  return sum > 0;
}

}  // namespace lookdown::surface
