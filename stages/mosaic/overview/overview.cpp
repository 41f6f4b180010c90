#include "stages/mosaic/overview/overview.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/robust_statistics.h"
#include "pipeline/record/frame_memory.h"
#include "stages/mosaic/geometry/warp.h"
#include "stages/mosaic/overview/data_cost.h"

namespace lookdown::mosaic {
namespace {

constexpr int kCellsAcrossFrame =
    150;  // fine enough to steer seams round a shed or a person, coarse enough for hundreds of frames
constexpr int kLargestUsualCellPx = 16;
constexpr std::int64_t kBytesACell =
    16;  // of a frame: colours, dislike, glare, usability, and what seams add
constexpr double kShareOfMemory = 0.2;

/// Fine enough to look at a frame, coarse enough for all frames together to fit their share of the memory.
int choose_cell_px(const std::vector<FrameView>& views, std::int64_t memory_bytes) {
  std::vector<int> sides;
  double area = 0;
  for (const FrameView& view : views) {
    sides.push_back(std::max(view.box.width, view.box.height));
    area += static_cast<double>(view.box.width) * view.box.height;
  }
  const int usual_side = median_in_place(sides);
  int cell_px = 2;
  while (cell_px < kLargestUsualCellPx && cell_px * 2 * kCellsAcrossFrame <= usual_side) cell_px *= 2;
  while (area / cell_px / cell_px * kBytesACell > kShareOfMemory * static_cast<double>(memory_bytes) &&
         cell_px < 256)
    cell_px *= 2;
  return cell_px;
}

cv::Mat cell_glare(const cv::Mat& mask, const cv::Mat& map, double scale) {
  // The share of glare in a cell, with a little around it: a glint that the mask misses by a pixel must not
  // survive.
  cv::Mat soft;
  const int side = std::max(3, static_cast<int>(std::lround(scale)) | 1);
  cv::boxFilter(mask, soft, CV_8U, {side, side}, {-1, -1}, true, cv::BORDER_REPLICATE);
  cv::Mat share;
  cv::remap(soft, share, map, cv::noArray(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  return share;
}

/// Mean over a small part of the frame: glitter thins out over several times as much.
cv::Mat around(const cv::Mat& share, double cells_across_frame) {
  constexpr double kPartOfFrame = 0.04;
  const int side = std::max(3, static_cast<int>(std::lround(kPartOfFrame * cells_across_frame)) | 1);
  cv::Mat mean;
  cv::blur(share, mean, {side, side}, {-1, -1}, cv::BORDER_REPLICATE);
  return mean;
}

SurveyFrame survey_frame(const FrameRecord& record, const FrameView& view, int cell_px,
                         const Preference& preference, const RunContext& context) {
  SurveyFrame frame;
  frame.fills = view.fills;
  const cv::Point last = view.box.br() - cv::Point(1, 1);
  frame.box = cv::Rect(cv::Point(view.box.x / cell_px, view.box.y / cell_px),
                       cv::Point(last.x / cell_px + 1, last.y / cell_px + 1));
  frame.usable.create(frame.box.size(), CV_8UC1);
  frame.dislike.create(frame.box.size(), CV_32FC1);
  cv::Mat map(frame.box.size(), CV_32FC2);
  std::vector<double> scales;
  for (int row = 0; row < frame.box.height; ++row)
    for (int column = 0; column < frame.box.width; ++column) {
      const double x = (frame.box.x + column + 0.5) * cell_px - 0.5,
                   y = (frame.box.y + row + 0.5) * cell_px - 0.5;
      const Sighting seen = view.sight(x, y);
      frame.usable.at<uchar>(row, column) = seen.usable ? 255 : 0;
      frame.dislike.at<float>(row, column) =
          seen.usable ? static_cast<float>(preference.dislike(record, view, seen, x, y)) : 0;
      const cv::Point2d p = seen.usable ? cv::Point2d(seen.x_px, seen.y_px) : view.position(x, y);
      map.at<cv::Vec2f>(row, column) = {
          static_cast<float>(std::clamp(p.x, 0.0, view.camera.width_px - 1.0)),
          static_cast<float>(std::clamp(p.y, 0.0, view.camera.height_px - 1.0))};
      if (seen.usable) scales.push_back(seen.frame_px_per_mosaic_px);
    }
  if (scales.empty()) return frame;
  const double scale = median_in_place(scales) * cell_px;
  const int reduction = decode_reduction(scale);
  auto picture = context.reader.bgr(record.source.path, reduction);
  if (!picture) throw FrameFault{picture.error()};
  frame.bgr = resample(*picture, reduction, map, scale);
  if (record.glare && !record.glare->mask_file.empty()) {
    auto mask = context.reader.grey(context.out / record.glare->mask_file);
    if (mask && mask->size() == cv::Size(view.camera.width_px, view.camera.height_px))
      frame.glare = cell_glare(*mask, map, scale);
  }
  if (!frame.glare.empty())
    preference.add_glare(frame.glare, around(frame.glare, view.camera.width_px / scale), frame.dislike);
  return frame;
}

}  // namespace

void keep_fills_to_gaps(const std::vector<FrameView>& views, Survey& survey) {
  if (std::none_of(views.begin(), views.end(), [](const FrameView& view) { return view.fills; })) return;
  cv::Mat kept(survey.rows, survey.columns, CV_8UC1, cv::Scalar(0));
  for (std::size_t i = 0; i < views.size(); ++i)
    if (const SurveyFrame& frame = survey.frames[i]; !views[i].fills && !frame.usable.empty())
      cv::bitwise_or(kept(frame.box), frame.usable, kept(frame.box));
  for (std::size_t i = 0; i < views.size(); ++i)
    if (SurveyFrame& frame = survey.frames[i]; views[i].fills && !frame.usable.empty())
      frame.usable.setTo(0, kept(frame.box));
}

Survey survey_frames(FlightRecord& flight, const std::vector<FrameView>& views, const Canvas& canvas,
                     const std::string& order, RunContext& context) {
  Survey survey;
  survey.cell_px = choose_cell_px(views, context.scheduler.memory_bytes());
  survey.columns = (canvas.width_px + survey.cell_px - 1) / survey.cell_px;
  survey.rows = (canvas.height_px + survey.cell_px - 1) / survey.cell_px;
  survey.frames.resize(views.size());
  const Preference preference(flight, views, order);
  std::int64_t peak_bytes = 0;
  for (const FrameView& view : views)
    peak_bytes = std::max(peak_bytes, (3 + decode_bytes_a_pixel(flight.frames[view.frame_index].source)) *
                                          view.camera.width_px * view.camera.height_px);
  context.progress.start("mosaic: first look", views.size());
  context.scheduler.for_each_frame(
      views.size(), peak_bytes,
      [&](std::size_t i) {
        survey.frames[i] =
            survey_frame(flight.frames[views[i].frame_index], views[i], survey.cell_px, preference, context);
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) {
          survey.frames[i] = SurveyFrame{};
          const std::string warning = fmt::format("mosaic: left out {}", fault->message());
          if (std::find(flight.warnings.begin(), flight.warnings.end(), warning) == flight.warnings.end())
            flight.warnings.push_back(warning);
        }
        context.progress.step(i + 1);
      });
  context.progress.finish();
  return survey;
}

}  // namespace lookdown::mosaic
