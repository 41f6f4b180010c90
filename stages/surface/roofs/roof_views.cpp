#include "stages/surface/roofs/roof_views.h"

#include <Eigen/Core>
#include <opencv2/imgproc.hpp>
#include <utility>

namespace lookdown::surface {
namespace {

constexpr double kRoofPicturesShare = 0.3;  ///< of the memory
constexpr double kAwayNodes = 15;           ///< over which the way off a roof is smoothed

/// True when the picture shows one of the places in the midst of the box.
bool shows_some(const Eigen::Matrix3d& picture_from_node, cv::Size box, cv::Size picture) {
  for (const double across : {0.35, 0.5, 0.65})
    for (const double down : {0.35, 0.5, 0.65}) {
      const Eigen::Vector3d q = picture_from_node * Eigen::Vector3d(across * box.width, down * box.height, 1);
      if (!(q.z() > 0)) continue;
      const double x = q.x() / q.z(), y = q.y() / q.z();
      if (x >= 0 && y >= 0 && x < picture.width && y < picture.height) return true;
    }
  return false;
}

}  // namespace

RoofViews::RoofViews(const FlightRecord& flight, const NodeGrid& grid, RunContext& context)
    : grid_(grid),
      views_(sweep_views(flight, grid.pitch, true)),
      pictures_(context.reader, flight, views_,
                std::int64_t(kRoofPicturesShare * double(context.scheduler.memory_bytes()))) {}

RoofViews::Seen RoofViews::of(const cv::Rect& box, const cv::Mat& open, const cv::Mat& guess, float height) {
  Seen seen{{laid_on(box, height), cv::Mat::zeros(box.size(), CV_32FC1)},
            cv::Mat::zeros(box.size(), CV_8UC1)};
  const cv::Mat upper(box.size(), CV_32FC1, cv::Scalar(height)), lower = cv::Mat::zeros(box.size(), CV_32FC1);
  cv::Mat heights = lower.clone(), away;
  heights.setTo(height, guess);
  // From which side the ground is seen past the roof is asked far from the present border too.
  cv::GaussianBlur(heights, away, {}, kAwayNodes, kAwayNodes, cv::BORDER_REPLICATE);
  const int side = usual_tile_side(views_);
  for (int y = 0; y < box.height; y += side)
    for (int x = 0; x < box.width; x += side) {
      const cv::Rect tile = cv::Rect(x, y, side, side) & cv::Rect({}, box.size());
      if (cv::countNonZero(open(tile)) == 0) continue;
      const auto views = likeness_over(tile + box.tl(), height, heights(tile));
      if (!views) continue;
      views->at(upper(tile), lower(tile), away(tile), open(tile)).copyTo(seen.roof.likeness(tile));
      views->look(upper(tile), cv::Mat(tile.size(), CV_8UC1, cv::Scalar(255))).copyTo(seen.mean(tile));
    }
  return seen;
}

/// Those that show some of the box, laid on the height; of those that fill, what the others show too little
/// of.
std::vector<cv::Mat> RoofViews::laid_on(const cv::Rect& box, float height) {
  std::vector<cv::Mat> laid, filling;
  cv::Mat times = cv::Mat::zeros(box.size(), CV_8UC1);
  const Eigen::Vector3d corner = grid_.ground_from_node * Eigen::Vector3d(box.x, box.y, 1);
  for (std::size_t i = 0; i < views_.size(); ++i) {
    const SweepView& view = views_[i];
    Eigen::Matrix3d picture_from_node = view.picture_from_world * grid_.ground_from_node;
    picture_from_node.col(2) =
        view.picture_from_world * (Eigen::Vector3d(corner.x(), corner.y(), double(height)) - view.centre);
    if (!shows_some(picture_from_node, box.size(), view.size)) continue;
    cv::Mat matrix(3, 3, CV_64F), picture;
    for (int k = 0; k < 9; ++k) matrix.at<double>(k / 3, k % 3) = picture_from_node(k / 3, k % 3);
    try {
      cv::warpPerspective(*pictures_.of(int(i)), picture, matrix, box.size(),
                          cv::INTER_LINEAR | cv::WARP_INVERSE_MAP);
    } catch (const FrameFault&) {
      continue;
    }
    if (!view.fills) cv::add(times, 1, times, picture > 0);
    (view.fills ? filling : laid).push_back(std::move(picture));
  }
  for (cv::Mat& picture : filling) {
    picture.setTo(0, times >= kViewsEnough);
    if (cv::countNonZero(picture) > 0) laid.push_back(std::move(picture));
  }
  return laid;
}

std::optional<SideLikeness> RoofViews::likeness_over(const cv::Rect& nodes, float height,
                                                     const cv::Mat& heights) {
  constexpr int kSpots = 5;
  std::vector<Eigen::Vector3d> spots;
  for (int i = 0; i < kSpots; ++i)
    for (int j = 0; j < kSpots; ++j) {
      const Eigen::Vector3d ground =
          grid_.ground_from_node * Eigen::Vector3d(nodes.x + (i + 0.5) * nodes.width / kSpots,
                                                   nodes.y + (j + 0.5) * nodes.height / kSpots, 1);
      spots.emplace_back(ground.x(), ground.y(), double(height));
    }
  std::vector<const SweepView*> chosen;
  std::vector<SweepPictures::Picture> shown;
  try {
    for (const int view : choose_views(views_, spots).views) {
      chosen.push_back(&views_[std::size_t(view)]);
      shown.push_back(pictures_.of(view));
    }
  } catch (const FrameFault&) {
    return std::nullopt;
  }
  if (chosen.empty()) return std::nullopt;
  return SideLikeness(grid_, nodes, chosen, shown, heights);
}

}  // namespace lookdown::surface
