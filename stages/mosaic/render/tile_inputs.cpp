#include "stages/mosaic/render/tile_inputs.h"

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "pipeline/base/files/file_digest.h"
#include "pipeline/imaging/frame_reader.h"
#include "stages/mosaic/geometry/view_digest.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/render/multi_band_blending.h"

namespace lookdown::mosaic {
namespace {

/// Cells round a tile with its margin that can count in it: three for votes, one for bends between cells.
constexpr int kReachCells = 4;

void add_colour(const FrameColour& colour, DigestedBytes& bytes) {
  for (const double gain : colour.log_gain) bytes.add(gain);
  for (const double slope : colour.log_slope) bytes.add(slope);
  for (const double term : colour.vignetting) bytes.add(term);
  bytes.add(colour.log_field);
}

void add_bend(const Bend& bend, const cv::Rect& cells, DigestedBytes& bytes) {
  bytes.add(bend.cell_px);
  bytes.add(bend.shift_px, bend.cells, cells);
  bytes.add(bend.strained, bend.cells, cells);
}

std::vector<int> views_among(const cv::Mat& choice) {
  std::vector<char> present;
  for (int row = 0; row < choice.rows; ++row)
    for (int column = 0; column < choice.cols; ++column) {
      const short view = choice.at<short>(row, column);
      if (view < 0) continue;
      if (static_cast<std::size_t>(view) >= present.size()) present.resize(view + 1, 0);
      present[view] = 1;
    }
  std::vector<int> views;
  for (std::size_t view = 0; view < present.size(); ++view)
    if (present[view]) views.push_back(static_cast<int>(view));
  return views;
}

/// The choice with each view named by its rank among `views` (ascending): views are numbered anew when one of
/// them leaves.
cv::Mat ranked(const cv::Mat& choice, const std::vector<int>& views) {
  cv::Mat ranks(choice.size(), CV_16SC1, cv::Scalar(-1));
  for (std::size_t rank = 0; rank < views.size(); ++rank)
    ranks.setTo(static_cast<double>(rank), choice == views[rank]);
  return ranks;
}

bool has_glare(const SurveyFrame& frame, const cv::Rect& cells) {
  const cv::Rect common = frame.box & cells;
  return !frame.glare.empty() && !common.empty() &&
         cv::countNonZero(frame.glare(common - frame.box.tl())) > 0;
}

/// Nodes of the surface under an area of the canvas and beside it; none over a plane.
cv::Rect nodes_round(const std::vector<FrameView>& views, const cv::Rect& area) {
  if (views.empty() || views.front().surface == nullptr || views.front().surface->empty()) return {};
  const surface::HeightGrid& grid = *views.front().surface;
  const double per_node = grid.step_px * views.front().canvas_per_placed;
  const cv::Point first(static_cast<int>(std::floor(area.x / per_node)) - 2,
                        static_cast<int>(std::floor(area.y / per_node)) - 2),
      last(static_cast<int>(std::ceil(area.br().x / per_node)) + 2,
           static_cast<int>(std::ceil(area.br().y / per_node)) + 2);
  return cv::Rect(first, last) & cv::Rect(0, 0, grid.columns, grid.rows);
}

void add_heights(const std::vector<FrameView>& views, const cv::Rect& nodes, DigestedBytes& bytes) {
  if (nodes.empty()) return;
  const surface::HeightGrid& grid = *views.front().surface;
  const cv::Mat heights(grid.rows, grid.columns, CV_32FC1, const_cast<float*>(grid.heights.data()));
  bytes.add(grid.step_px);
  bytes.add(grid.wall);
  bytes.add(heights, cv::Rect({}, heights.size()), nodes);
}

/// What a view adds where it may fill the glare of another.
void add_donor(const SurveyFrame& frame, const FrameView& view, const cv::Rect& cells, DigestedBytes& bytes) {
  for (const cv::Mat& layer : {frame.usable, frame.dislike, frame.glare}) bytes.add(layer, frame.box, cells);
  add_bend(view.bend, cells, bytes);
}

}  // namespace

TileInputs::TileInputs(const Scene& scene, const FlightRecord& flight, const std::filesystem::path& out)
    : scene_(scene) {
  DigestedBytes all;
  all.add(std::string(kMosaicVersion) + kReaderVersion);
  for (const int size : {scene.canvas.width_px, scene.canvas.height_px, scene.survey.cell_px, scene.bits})
    all.add(size);
  all.add(scene.linear_light);
  for (int step = 0; step <= 64; ++step) all.add(scene.tones.at(step / 64.0));
  for (const double term : scene.canvas.canvas_from_placed.reshaped()) all.add(term);
  of_scene_ = all.digest();
  for (std::size_t i = 0; i < scene.views.size(); ++i) {
    const FrameView& view = scene.views[i];
    const FrameRecord& frame = flight.frames[view.frame_index];
    DigestedBytes own;
    add_view(view, frame, own);
    own.add(view.source_index);
    add_colour(scene.colours[i], own);
    if (frame.glare && !frame.glare->mask_file.empty()) own.add(digest_of_file(out / frame.glare->mask_file));
    of_view_.push_back(own.digest());
  }
}

std::string TileInputs::digest_of(const cv::Rect& area) const {
  const cv::Point margin(kBlendMargin, kBlendMargin);
  const cv::Rect wide(area.tl() - margin, area.br() + margin),
      cells = cells_round(scene_.survey, wide, kReachCells), nodes = nodes_round(scene_.views, wide);
  DigestedBytes bytes;
  bytes.add(of_scene_);
  bytes.add(area);
  add_heights(scene_.views, nodes, bytes);
  const cv::Mat choice = scene_.choice(cells);
  const std::vector<int> shown = views_among(choice);
  bytes.add(ranked(choice, shown));
  bool any_glare = false;
  for (const int view : shown) {
    bytes.add(of_view_[view]);
    add_bend(scene_.views[view].bend, cells, bytes);
    bytes.add(scene_.views[view].hidden, scene_.views[view].hidden_nodes, nodes);
    any_glare = any_glare || has_glare(scene_.survey.frames[view], cells);
  }
  if (!any_glare) return bytes.digest();
  for (std::size_t view = 0; view < scene_.views.size(); ++view) {
    const SurveyFrame& frame = scene_.survey.frames[view];
    if (frame.bgr.empty() || (frame.box & cells).empty()) continue;
    bytes.add(of_view_[view]);
    add_donor(frame, scene_.views[view], cells, bytes);
    bytes.add(scene_.views[view].hidden, scene_.views[view].hidden_nodes, nodes);
  }
  return bytes.digest();
}

}  // namespace lookdown::mosaic
