#include "stages/report/pictures/water_outlines.h"

#include <algorithm>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "stages/report/overlay_shapes.h"

namespace lookdown::report {
namespace {

constexpr double kGridLongSide_px = 700;
constexpr double kLeastShare = 1e-4;  ///< of the mosaic: smaller puddles would be specks on the page
constexpr std::size_t kMostOutlines = 200;

struct Votes {
  cv::Mat water, seen;  ///< CV_16UC1, frames
  double step_px = 1;   ///< mosaic pixels a cell
};

/// Adds one frame's say to every cell whose middle it shows.
void vote(const FrameRecord& frame, const cv::Mat& mask, Votes& votes) {
  const std::vector<Point2<MosaicPx>> outline = footprint(frame);
  if (outline.empty()) return;
  std::vector<cv::Point> corners;
  for (const Point2<MosaicPx>& p : outline)
    corners.emplace_back(cvRound(p.x / votes.step_px), cvRound(p.y / votes.step_px));
  const cv::Rect area = cv::boundingRect(corners) & cv::Rect({}, votes.seen.size());
  const auto frame_from_mosaic = frame.placement.mosaic_from_frame.inverse();
  const double factor_x = static_cast<double>(mask.cols) / frame.source.width_px,
               factor_y = static_cast<double>(mask.rows) / frame.source.height_px;
  for (int row = area.y; row < area.y + area.height; ++row) {
    for (int column = area.x; column < area.x + area.width; ++column) {
      const Point2<MosaicPx> spot{(column + 0.5) * votes.step_px, (row + 0.5) * votes.step_px};
      if (cv::pointPolygonTest(corners, cv::Point2f(static_cast<float>(column), static_cast<float>(row)),
                               false) < 0)
        continue;
      const Point2<StoredPx> seen = frame.placement.camera.distort(frame_from_mosaic * spot);
      const int x = static_cast<int>((seen.x + 0.5) * factor_x),
                y = static_cast<int>((seen.y + 0.5) * factor_y);
      if (x < 0 || y < 0 || x >= mask.cols || y >= mask.rows) continue;
      ++votes.seen.at<std::uint16_t>(row, column);
      votes.water.at<std::uint16_t>(row, column) += mask.at<std::uint8_t>(y, x) > 127;
    }
  }
}

}  // namespace

std::vector<MosaicOutline> water_outlines(const FlightRecord& record, const std::filesystem::path& out) {
  const FlightPlacement& placement = record.placement;
  const int long_side = std::max(placement.mosaic_width_px, placement.mosaic_height_px);
  if (long_side <= 0) return {};
  Votes votes;
  votes.step_px = std::max(1.0, long_side / kGridLongSide_px);
  const cv::Size size(std::max(1, static_cast<int>(placement.mosaic_width_px / votes.step_px)),
                      std::max(1, static_cast<int>(placement.mosaic_height_px / votes.step_px)));
  votes.water = cv::Mat::zeros(size, CV_16UC1);
  votes.seen = cv::Mat::zeros(size, CV_16UC1);
  for (const FrameRecord& frame : record.frames) {
    if (frame.decision.verdict == Verdict::drop || frame.placement.group != 0 || !frame.glare ||
        frame.glare->water_mask_file.empty())
      continue;
    const cv::Mat mask = cv::imread((out / frame.glare->water_mask_file).string(),
                                    cv::IMREAD_GRAYSCALE | cv::IMREAD_IGNORE_ORIENTATION);
    if (!mask.empty()) vote(frame, mask, votes);
  }
  cv::Mat water = (votes.water * 2 >= votes.seen) & (votes.seen > 0);
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(water, contours, cv::RETR_CCOMP, cv::CHAIN_APPROX_NONE);
  std::sort(contours.begin(), contours.end(),
            [](const auto& a, const auto& b) { return cv::contourArea(a) > cv::contourArea(b); });
  std::vector<MosaicOutline> outlines;
  for (const auto& contour : contours) {
    if (outlines.size() == kMostOutlines ||
        cv::contourArea(contour) < kLeastShare * static_cast<double>(water.total()))
      break;
    std::vector<cv::Point> simple;
    cv::approxPolyDP(contour, simple, 1.0, true);
    MosaicOutline outline;
    for (const cv::Point& p : simple)
      outline.push_back({(p.x + 0.5) * votes.step_px, (p.y + 0.5) * votes.step_px});
    outlines.push_back(std::move(outline));
  }
  return outlines;
}

}  // namespace lookdown::report
