#include "stages/report/pictures/repeat_crops.h"

#include <algorithm>
#include <functional>
#include <map>
#include <memory>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/core/eigen.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

#include "stages/report/pictures/detail_spot.h"
#include "stages/report/pictures/displayed_frame.h"
#include "stages/report/pictures/frame_pictures.h"

namespace lookdown::report {
namespace {

constexpr int kCropWidth_px = 420;
constexpr int kCropHeight_px = 320;
constexpr std::size_t kMostFrames = 3;
/// All crops together stay below this share of the page.
constexpr double kPageShare = 0.06;
constexpr double kMostBytes = 40e3;
constexpr double kLeastBytes = 5e3;

std::vector<std::vector<int>> groups_of(const FlightRecord& record) {
  std::map<std::string, int> index_of;
  for (std::size_t i = 0; i < record.frames.size(); ++i)
    index_of[record.frames[i].source.file] = static_cast<int>(i);
  std::map<int, std::vector<int>> repeats;
  for (std::size_t i = 0; i < record.frames.size(); ++i) {
    const auto best = index_of.find(record.frames[i].decision.repeat_of);
    if (best == index_of.end() || best->second == static_cast<int>(i) || record.frames[i].fault) continue;
    auto& group = repeats.try_emplace(best->second, std::vector<int>{best->second}).first->second;
    if (group.size() < kMostFrames) group.push_back(static_cast<int>(i));
  }
  std::vector<std::vector<int>> groups;
  for (auto& [best, group] : repeats) groups.push_back(std::move(group));
  return groups;
}

/// Where a position in the best frame lies in another.
struct Alignment {
  std::function<Point2<StoredPx>(const Point2<StoredPx>&)> other_from_best;
  std::string by;
};

Alignment by_placement(const FrameRecord& best, const FrameRecord& other) {
  const auto other_from_best = other.placement.mosaic_from_frame.inverse() * best.placement.mosaic_from_frame;
  return {[other_from_best, from = best.placement.camera, to = other.placement.camera](
              const Point2<StoredPx>& p) { return to.distort(other_from_best * from.undistort(p)); },
          "placement"};
}

/// A similarity from matched features: near-repeats were taken from nearly the same place.
std::optional<Alignment> by_features(FramePixels& best, FramePixels& other) {
  const int reduction = best.reduction_for(1200);
  const auto detector = cv::ORB::create(2000);
  std::vector<cv::KeyPoint> best_points, other_points;
  cv::Mat best_words, other_words;
  detector->detectAndCompute(best.grey(reduction), cv::noArray(), best_points, best_words);
  detector->detectAndCompute(other.grey(reduction), cv::noArray(), other_points, other_words);
  if (best_words.empty() || other_words.empty()) return std::nullopt;
  std::vector<cv::DMatch> matches;
  cv::BFMatcher(cv::NORM_HAMMING, true).match(best_words, other_words, matches);
  std::vector<cv::Point2f> from, to;
  for (const cv::DMatch& match : matches) {
    from.push_back(best_points[match.queryIdx].pt);
    to.push_back(other_points[match.trainIdx].pt);
  }
  if (from.size() < 12) return std::nullopt;
  cv::Mat inliers;
  const cv::Mat similarity = cv::estimateAffinePartial2D(from, to, inliers, cv::RANSAC, 3.0);
  // Brown & Lowe, IJCV 74:59-73 (2007): a pair holds when inliers exceed 8 + 0.3 of the matches.
  if (similarity.empty() || cv::countNonZero(inliers) < 8 + 0.3 * static_cast<double>(from.size()))
    return std::nullopt;
  Eigen::Matrix<double, 2, 3> other_from_best;
  cv::cv2eigen(similarity, other_from_best);
  return Alignment{
      [other_from_best, reduction](const Point2<StoredPx>& p) {
        const Eigen::Vector2d q = other_from_best * Eigen::Vector3d(reduced_from_stored(p.x, reduction),
                                                                    reduced_from_stored(p.y, reduction), 1);
        return Point2<StoredPx>{stored_from_reduced(q.x(), reduction), stored_from_reduced(q.y(), reduction)};
      },
      "features"};
}

Alignment alignment_of(const FrameRecord& best, const FrameRecord& other, FramePixels& best_pixels,
                       FramePixels& other_pixels) {
  if (&best == &other) return {[](const Point2<StoredPx>& p) { return p; }, "itself"};
  if (best.placement.placed && other.placement.placed && best.placement.group == other.placement.group) {
    return by_placement(best, other);
  }
  if (auto alignment = by_features(best_pixels, other_pixels)) return std::move(*alignment);
  const double x_scale = static_cast<double>(other.source.width_px) / best.source.width_px;
  const double y_scale = static_cast<double>(other.source.height_px) / best.source.height_px;
  return {[=](const Point2<StoredPx>& p) {
            return Point2<StoredPx>{p.x * x_scale, p.y * y_scale};
          },
          "nothing"};
}

/// How much of an area of the best frame another sees, by 5 x 5 samples.
int samples_seen(const FrameSource& source, const Alignment& alignment, const cv::Rect& area) {
  constexpr int kSteps = 4;
  int seen = 0;
  for (int row = 0; row <= kSteps; ++row) {
    for (int column = 0; column <= kSteps; ++column) {
      const Point2<StoredPx> p = alignment.other_from_best(
          {area.x + (area.width - 1.0) * column / kSteps, area.y + (area.height - 1.0) * row / kSteps});
      seen += p.x >= 0 && p.y >= 0 && p.x <= source.width_px - 1 && p.y <= source.height_px - 1;
    }
  }
  return seen;
}

/// The area with most detail among those of which the frames of the group see most.
cv::Rect shared_area(const FlightRecord& record, const std::vector<int>& group,
                     const std::vector<Alignment>& alignments) {
  const FrameRecord& best = record.frames[group.front()];
  const bool on_its_side = DisplayedFrame(best.source).on_its_side();
  const cv::Size size =
      on_its_side ? cv::Size(kCropHeight_px, kCropWidth_px) : cv::Size(kCropWidth_px, kCropHeight_px);
  cv::Rect chosen;
  int most_seen = 0;
  for (const cv::Point& spot : detail_spots(best)) {
    const cv::Rect area = rectangle_around(spot, size, {best.source.width_px, best.source.height_px});
    int seen = 0;
    for (std::size_t i = 0; i < group.size(); ++i)
      seen += samples_seen(record.frames[group[i]].source, alignments[i], area);
    if (seen <= most_seen) continue;
    most_seen = seen;
    chosen = area;
  }
  return chosen;
}

cv::Mat crop_of(const cv::Mat& full, const Alignment& alignment, const cv::Rect& area) {
  cv::Mat x(area.size(), CV_32FC1), y(area.size(), CV_32FC1), crop;
  for (int row = 0; row < area.height; ++row) {
    for (int column = 0; column < area.width; ++column) {
      const auto p = alignment.other_from_best(
          {area.x + static_cast<double>(column), area.y + static_cast<double>(row)});
      x.at<float>(row, column) = static_cast<float>(p.x);
      y.at<float>(row, column) = static_cast<float>(p.y);
    }
  }
  cv::remap(full, crop, x, y, cv::INTER_CUBIC, cv::BORDER_CONSTANT, {180, 180, 180});
  return crop;
}

RepeatGroup crops_of(const FlightRecord& record, const std::vector<int>& group, std::int64_t most_bytes,
                     RunContext& context) {
  const FrameRecord& best = record.frames[group.front()];
  std::vector<std::unique_ptr<FramePixels>> pixels;
  std::vector<Alignment> alignments;
  for (const int index : group) {
    pixels.push_back(std::make_unique<FramePixels>(context.reader, record.frames[index].source));
    alignments.push_back(alignment_of(best, record.frames[index], *pixels.front(), *pixels.back()));
  }
  const cv::Rect area = shared_area(record, group, alignments);
  RepeatGroup crops;
  for (std::size_t i = 0; i < group.size(); ++i) {
    const cv::Mat crop = crop_of(pixels[i]->bgr(1), alignments[i], area);
    pixels[i].reset();
    crops.push_back({group[i], jpeg_within(turned_for_display(crop, best.source.orientation), most_bytes),
                     alignments[i].by});
  }
  return crops;
}

}  // namespace

std::vector<RepeatGroup> repeat_crops(const FlightRecord& record, const Options& options,
                                      RunContext& context) {
  const std::vector<std::vector<int>> groups = groups_of(record);
  std::vector<RepeatGroup> crops(groups.size());
  std::size_t count = 0;
  std::int64_t peak_bytes = 1;
  for (const auto& group : groups) {
    count += group.size();
    const FrameSource& source = record.frames[group.front()].source;
    peak_bytes = std::max(peak_bytes, std::int64_t{8} * source.width_px * source.height_px);
  }
  if (count == 0) return crops;
  const double each_bytes = options.page_megabytes * 1e6 * kPageShare / static_cast<double>(count);
  const auto most_bytes = static_cast<std::int64_t>(std::clamp(each_bytes, kLeastBytes, kMostBytes));
  context.scheduler.for_each_frame(
      groups.size(), peak_bytes,
      [&](std::size_t i) { crops[i] = crops_of(record, groups[i], most_bytes, context); },
      // Where a frame cannot be read any more, the group shows what the page holds of it anyway.
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (!fault) return;
        crops[i].clear();
        for (const int index : groups[i]) crops[i].push_back({index, {}, "nothing"});
      });
  return crops;
}

}  // namespace lookdown::report
