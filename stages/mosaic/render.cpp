#include "stages/mosaic/render.h"

#include <algorithm>
#include <bit>
#include <limits>
#include <map>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/band_blend.h"
#include "stages/mosaic/warp.h"

namespace lookdown::mosaic {
namespace {

constexpr float kNoWeight = -1;

/// Frames shown in an area, pixel by pixel.
struct Shown {
  std::vector<int> views;  ///< indices of those that are shown somewhere, ascending
  cv::Mat place;    ///< CV_16SC1, position in `views`, defined everywhere (carried on into uncovered pixels)
  cv::Mat covered;  ///< CV_8UC1, 255 where the frame really sees the pixel
};

/// Survey cells round `area` with a rim for smoothing.
cv::Rect cells_round(const Survey& survey, const cv::Rect& area, int rim) {
  const int cell = survey.cell_px;
  const cv::Point first(std::max(0, area.x / cell - rim), std::max(0, area.y / cell - rim));
  const cv::Point last(std::min(survey.columns, (area.br().x - 1) / cell + 1 + rim),
                       std::min(survey.rows, (area.br().y - 1) / cell + 1 + rim));
  return {first, last};
}

std::vector<int> views_in(const Choice& choice, const cv::Rect& cells) {
  std::vector<char> present(std::numeric_limits<short>::max(), 0);
  for (int row = cells.y; row < cells.br().y; ++row)
    for (int column = cells.x; column < cells.br().x; ++column)
      if (const short view = choice.at<short>(row, column); view >= 0) present[view] = 1;
  std::vector<int> views;
  for (std::size_t view = 0; view < present.size(); ++view)
    if (present[view]) views.push_back(static_cast<int>(view));
  return views;
}

/// How strongly the choice speaks for `view` at each pixel of `area`: the cells' votes, smoothed, so that
/// seams run smoothly between cells.
cv::Mat vote(const Scene& scene, int view, const cv::Rect& cells, const cv::Rect& area) {
  const int cell = scene.survey.cell_px;
  cv::Mat votes = scene.choice(cells) == view, smooth;
  votes.convertTo(votes, CV_32F, 1.0 / 255);
  cv::GaussianBlur(votes, smooth, {5, 5}, 0.9, 0.9, cv::BORDER_REPLICATE);
  // Cell (c, r) has its centre at canvas pixel (c + 0.5) cell - 0.5.
  const float step = 1.0F / cell;
  const cv::Matx23f cell_from_pixel(step, 0, (area.x + 0.5F) * step - 0.5F - cells.x, 0, step,
                                    (area.y + 0.5F) * step - 0.5F - cells.y);
  cv::Mat at_pixels;
  cv::warpAffine(smooth, at_pixels, cell_from_pixel, area.size(), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  return at_pixels;
}

Shown shown_in(const Scene& scene, const cv::Rect& area) {
  const cv::Rect cells = cells_round(scene.survey, area, 3);
  const std::vector<int> candidates = views_in(scene.choice, cells);
  cv::Mat best_seen(area.size(), CV_32FC1, cv::Scalar(kNoWeight)), best_any = best_seen.clone();
  cv::Mat seen_by(area.size(), CV_16SC1, cv::Scalar(-1)), any_by = seen_by.clone();
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    const cv::Mat weight = vote(scene, candidates[i], cells, area);
    const cv::Mat usable = usable_map(scene.views[candidates[i]], area);
    const cv::Mat wins_seen = (weight > best_seen) & usable, wins_any = weight > best_any;
    weight.copyTo(best_seen, wins_seen);
    seen_by.setTo(static_cast<double>(i), wins_seen);
    weight.copyTo(best_any, wins_any);
    any_by.setTo(static_cast<double>(i), wins_any);
  }
  // A frame must have a vote nearby, or it would spread along its own edge into places that the choice left
  // empty.
  Shown shown;
  shown.covered = best_seen > 1e-4F;
  any_by.copyTo(seen_by, ~shown.covered);
  std::vector<int> renumbered(candidates.size(), -1);
  for (std::size_t i = 0; i < candidates.size(); ++i)
    if (cv::countNonZero(seen_by == static_cast<double>(i)) > 0) {
      renumbered[i] = static_cast<int>(shown.views.size());
      shown.views.push_back(candidates[i]);
    }
  shown.place = seen_by;
  for (int row = 0; row < area.height; ++row)
    for (int column = 0; column < area.width; ++column) {
      short& place = shown.place.at<short>(row, column);
      if (place >= 0) place = static_cast<short>(renumbered[place]);
    }
  return shown;
}

/// The frame on the canvas in corrected colours, CV_32FC3.
cv::Mat corrected_frame(const Scene& scene, FrameStore& store, int view_index, const cv::Rect& area) {
  const FrameView& view = scene.views[view_index];
  const double scale = typical_scale(view, area);
  const int reduction = decode_reduction(scale);
  const FrameStore::Picture picture = store.bgr(view.frame_index, reduction);
  const cv::Mat map = position_map(view, area);
  return corrected(resample(*picture, reduction, map, scale), map, scene.colours[view_index]);
}

constexpr int kAlign = 1 << kBands;

int align_down(int value) {
  return value / kAlign * kAlign;
}
int align_up(int value) {
  return (value + kAlign - 1) / kAlign * kAlign;
}

/// Where `mask` (inside `area`-sized matrix) is not zero, widened by the reach of the blend and aligned to
/// its coarsest band.
cv::Rect reach_of(const cv::Mat& mask) {
  const cv::Rect core = cv::boundingRect(mask);
  const cv::Point first(align_down(std::max(0, core.x - kBlendMargin)),
                        align_down(std::max(0, core.y - kBlendMargin)));
  const cv::Point last(std::min(mask.cols, align_up(core.br().x + kBlendMargin)),
                       std::min(mask.rows, align_up(core.br().y + kBlendMargin)));
  return {first, last};
}

cv::Mat joined_colours(const Scene& scene, FrameStore& store, const Shown& shown, const cv::Rect& area,
                       const cv::Rect& inner) {
  cv::Mat colours;
  if (shown.views.size() == 1) {
    corrected_frame(scene, store, shown.views[0], inner).convertTo(colours, CV_8U);
    return colours;
  }
  BandBlend blend(area.size());
  for (std::size_t i = 0; i < shown.views.size(); ++i) {
    const cv::Mat mask = shown.place == static_cast<double>(i);
    const cv::Rect where = reach_of(mask);
    cv::Mat weight;
    mask(where).convertTo(weight, CV_32F, 1.0 / 255);
    blend.add(corrected_frame(scene, store, shown.views[i], where + area.tl()), weight, where);
  }
  blend.result()(inner - area.tl()).convertTo(colours, CV_8U);
  return colours;
}

}  // namespace

Tile render_tile(const Scene& scene, FrameStore& store, const cv::Rect& area) {
  Tile tile;
  tile.area = area & cv::Rect(0, 0, scene.canvas.width_px, scene.canvas.height_px);
  tile.bgra = cv::Mat(tile.area.size(), CV_8UC4, cv::Scalar::all(0));
  tile.sources = cv::Mat(tile.area.size(), CV_16UC1, cv::Scalar(65535));
  const cv::Point margin(kBlendMargin, kBlendMargin);
  const cv::Rect wide(area.tl() - margin, area.br() + margin);
  const Shown shown = shown_in(scene, wide);
  const cv::Rect inside = tile.area - wide.tl();
  if (shown.views.empty() || cv::countNonZero(shown.covered(inside)) == 0) return tile;
  const cv::Mat colours = joined_colours(scene, store, shown, wide, tile.area);
  for (int row = 0; row < tile.area.height; ++row) {
    const auto* covered = shown.covered.ptr<uchar>(row + inside.y) + inside.x;
    const auto* place = shown.place.ptr<short>(row + inside.y) + inside.x;
    const auto* colour = colours.ptr<cv::Vec3b>(row);
    auto* out = tile.bgra.ptr<cv::Vec4b>(row);
    auto* source = tile.sources.ptr<ushort>(row);
    for (int column = 0; column < tile.area.width; ++column) {
      if (!covered[column]) continue;
      out[column] = {colour[column][0], colour[column][1], colour[column][2], 255};
      source[column] = static_cast<ushort>(scene.views[shown.views[place[column]]].source_index);
    }
  }
  return tile;
}

namespace {

/// Position along a Hilbert curve over a square of `side` (a power of two) cells. Hilbert (1891); bitwise
/// form from memory.
std::int64_t along_hilbert_curve(int side, int column, int row) {
  std::int64_t distance = 0;
  for (int half = side / 2; half > 0; half /= 2) {
    const int right = (column & half) > 0, down = (row & half) > 0;
    distance += static_cast<std::int64_t>(half) * half * ((3 * right) ^ down);
    if (down == 0) {
      if (right == 1) {
        column = half - 1 - (column & (half - 1));
        row = half - 1 - (row & (half - 1));
      }
      std::swap(column, row);
    }
    column &= half - 1;
    row &= half - 1;
  }
  return distance;
}

}  // namespace

std::vector<cv::Rect> tiles_of(const Canvas& canvas) {
  const int columns = (canvas.width_px + kTileSide - 1) / kTileSide,
            rows = (canvas.height_px + kTileSide - 1) / kTileSide;
  const int side = static_cast<int>(std::bit_ceil(static_cast<unsigned>(std::max(columns, rows))));
  std::map<std::int64_t, cv::Rect> ordered;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column)
      ordered[along_hilbert_curve(side, column, row)] = {column * kTileSide, row * kTileSide, kTileSide,
                                                         kTileSide};
  std::vector<cv::Rect> tiles;
  for (const auto& [distance, tile] : ordered) tiles.push_back(tile);
  return tiles;
}

}  // namespace lookdown::mosaic
