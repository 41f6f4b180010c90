#include "stages/mosaic/geometry/view_digest.h"

#include <nlohmann/json.hpp>

#include "pipeline/base/files/cache.h"
#include "pipeline/record/record_json.h"

namespace lookdown::mosaic {

void DigestedBytes::add(const std::string& text) {
  add(text.size());
  bytes_ += text;
}

void DigestedBytes::add(const cv::Rect& area) {
  for (const int side : {area.x, area.y, area.width, area.height}) add(side);
}

void DigestedBytes::add(const cv::Mat& picture) {
  for (const int fact : {picture.rows, picture.cols, picture.type()}) add(fact);
  for (int row = 0; row < picture.rows; ++row)
    bytes_.append(reinterpret_cast<const char*>(picture.ptr(row)), picture.elemSize() * picture.cols);
}

void DigestedBytes::add(const cv::Mat& picture, const cv::Rect& box, const cv::Rect& cells) {
  const cv::Rect common = box & cells;
  add(common);
  if (!picture.empty() && !common.empty()) add(cv::Mat(picture(common - box.tl())));
}

std::string DigestedBytes::digest() const {
  return lookdown::digest(bytes_);
}

void add_view(const FrameView& view, const FrameRecord& frame, DigestedBytes& bytes) {
  bytes.add(frame.source.content_hash);
  bytes.add(to_json(frame.placement).dump());
  for (const double term : view.frame_from_mosaic.reshaped()) bytes.add(term);
  bytes.add(view.riding);
}

std::vector<std::string> view_digests(const std::vector<FrameView>& views, const FlightRecord& flight) {
  std::vector<std::string> digests;
  if (views.empty()) return digests;
  DigestedBytes heights;
  if (const surface::HeightGrid* grid = views.front().surface; grid != nullptr && !grid->empty()) {
    heights.add(grid->step_px);
    heights.add(grid->wall);
    heights.add(cv::Mat(grid->rows, grid->columns, CV_32FC1, const_cast<float*>(grid->heights.data())));
  }
  for (const FrameView& view : views) {
    DigestedBytes own;
    add_view(view, flight.frames[view.frame_index], own);
    own.add(view.canvas_per_placed);
    own.add(heights.digest());
    own.add(view.hidden_nodes);
    own.add(view.hidden);
    own.add(view.bend.cells);
    own.add(view.bend.cell_px);
    own.add(view.bend.shift_px);
    digests.push_back(own.digest());
  }
  return digests;
}

}  // namespace lookdown::mosaic
