#include "stages/mosaic/render/render.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "stages/mosaic/render/frame_on_canvas.h"
#include "stages/mosaic/render/label_upsampling.h"
#include "stages/mosaic/render/multi_band_blending.h"

namespace lookdown::mosaic {
namespace {

constexpr int kAlign = 1 << kBands;
constexpr double kSeamSoftness = 1.6;  // pixels over which the finest detail changes hands

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

/// A tile with its margin while frames are put in.
struct Joined {
  cv::Mat colours;  ///< CV_32FC3, 0..255 code values with fractions
  cv::Mat donor;    ///< CV_16SC1, view that filled a glare pixel of the frame shown, -1 elsewhere
  cv::Mat glare;    ///< CV_8UC1
};

/// Where the frame is shown (`mask`), its fillings and its glare are those of the tile.
void note_glare(const FrameOnCanvas& frame, const cv::Mat& mask, cv::Mat donor, cv::Mat glare) {
  if (!frame.donor.empty()) frame.donor.copyTo(donor, mask);
  if (!frame.glare.empty()) frame.glare.copyTo(glare, mask);
}

/// One frame in a tile with its margin.
struct Part {
  cv::Rect where;   ///< in the tile with its margin
  cv::Mat mask;     ///< CV_8UC1, 255 where it is shown
  cv::Mat colours;  ///< CV_32FC3
};

/// Where a frame is hidden and contradicts what is shown there (a leaning wall, someone who walked on), it
/// takes over what is shown. Its broad bands would carry the contradiction over the seam as a glow. Small
/// differences stay: levelling them is what bands are for.
void agree_with(const cv::Mat& hard, Part& part) {
  constexpr float kSmall = 16, kLarge = 40;  // code values
  constexpr int kSide = 9;
  cv::Mat apart;
  cv::boxFilter(part.colours - hard, apart, CV_32F, {kSide, kSide}, {-1, -1}, true, cv::BORDER_REPLICATE);
  for (int row = 0; row < apart.rows; ++row) {
    const auto* difference = apart.ptr<cv::Vec3f>(row);
    const auto* shown = hard.ptr<cv::Vec3f>(row);
    const auto* is_own = part.mask.ptr<uchar>(row);
    auto* colour = part.colours.ptr<cv::Vec3f>(row);
    for (int column = 0; column < apart.cols; ++column) {
      if (is_own[column]) continue;
      const cv::Vec3f& by = difference[column];
      const float most = std::max({std::abs(by[0]), std::abs(by[1]), std::abs(by[2])});
      if (most <= kSmall) continue;
      const float share = std::min(1.0F, (most - kSmall) / (kLarge - kSmall));
      colour[column] += (shown[column] - colour[column]) * share;
    }
  }
}

Joined join_frames(const Scene& scene, FrameStore& store, const Shown& shown, const cv::Rect& wide,
                   const cv::Rect& inner) {
  Joined joined{
      {}, cv::Mat(inner.size(), CV_16SC1, cv::Scalar(-1)), cv::Mat(inner.size(), CV_8UC1, cv::Scalar(0))};
  const cv::Rect inside = inner - wide.tl();
  if (shown.views.size() == 1) {
    const FrameOnCanvas frame = frame_on_canvas(scene, store, shown.views[0], inner, {});
    joined.colours = frame.colours;
    note_glare(frame, shown.covered(inside), joined.donor, joined.glare);
    return joined;
  }
  std::vector<Part> parts;
  cv::Mat hard(wide.size(), CV_32FC3);
  for (std::size_t i = 0; i < shown.views.size(); ++i) {
    const cv::Mat mask = shown.place == static_cast<double>(i);
    Part part{reach_of(mask), {}, {}};
    part.mask = mask(part.where);
    FrameOnCanvas frame = frame_on_canvas(scene, store, shown.views[i], part.where + wide.tl(), part.mask);
    frame.colours.copyTo(hard(part.where), part.mask);
    part.colours = frame.colours;
    const cv::Rect common = part.where & inside;
    for (cv::Mat* layer : {&frame.donor, &frame.glare})
      if (!layer->empty() && !common.empty()) *layer = (*layer)(common - part.where.tl());
    if (!common.empty())
      note_glare(frame, mask(common), joined.donor(common - inside.tl()), joined.glare(common - inside.tl()));
    parts.push_back(std::move(part));
  }
  BandBlend blend(wide.size());
  for (Part& part : parts) {
    agree_with(hard(part.where), part);
    cv::Mat weight;
    part.mask.convertTo(weight, CV_32F, 1.0 / 255);
    // A knife-sharp seam shows as a line of its own: the grain of two frames meets without the likeness that
    // neighbours in one frame have.
    cv::GaussianBlur(weight, weight, {9, 9}, kSeamSoftness);
    if (scene.linear_light) to_linear_light(part.colours);
    blend.add(part.colours, weight, part.where);
  }
  joined.colours = blend.result()(inside);
  if (scene.linear_light) to_code_values(joined.colours);
  return joined;
}

/// Colours rounded to the levels of the tile, alpha full where a frame is shown and all else empty.
template <class Level>
cv::Mat with_alpha(const cv::Mat& colours, const cv::Mat& covered) {
  constexpr Level kFull = std::numeric_limits<Level>::max();
  cv::Mat levels, bgra(colours.size(), CV_MAKETYPE(cv::DataType<Level>::depth, 4), cv::Scalar::all(0));
  colours.convertTo(levels, cv::DataType<Level>::depth, kFull / 255.0);
  for (int row = 0; row < bgra.rows; ++row) {
    const auto* level = levels.ptr<cv::Vec<Level, 3>>(row);
    auto* out = bgra.ptr<cv::Vec<Level, 4>>(row);
    for (int column = 0; column < bgra.cols; ++column)
      if (covered.at<uchar>(row, column))
        out[column] = {level[column][0], level[column][1], level[column][2], kFull};
  }
  return bgra;
}

}  // namespace

Tile render_tile(const Scene& scene, FrameStore& store, const cv::Rect& area) {
  Tile tile;
  tile.area = area & cv::Rect(0, 0, scene.canvas.width_px, scene.canvas.height_px);
  tile.bgra = cv::Mat(tile.area.size(), scene.bits == 16 ? CV_16UC4 : CV_8UC4, cv::Scalar::all(0));
  tile.sources = cv::Mat(tile.area.size(), CV_16UC1, cv::Scalar(kNoSource));
  const cv::Point margin(kBlendMargin, kBlendMargin);
  const cv::Rect wide(area.tl() - margin, area.br() + margin);
  const Shown shown = shown_in(scene, wide);
  const cv::Rect inside = tile.area - wide.tl();
  if (shown.views.empty() || cv::countNonZero(shown.covered(inside)) == 0) return tile;
  Joined joined = join_frames(scene, store, shown, wide, tile.area);
  scene.tones.apply(joined.colours);
  tile.bgra = scene.bits == 16 ? with_alpha<ushort>(joined.colours, shown.covered(inside))
                               : with_alpha<uchar>(joined.colours, shown.covered(inside));
  for (int row = 0; row < tile.area.height; ++row) {
    const auto* covered = shown.covered.ptr<uchar>(row + inside.y) + inside.x;
    const auto* place = shown.place.ptr<short>(row + inside.y) + inside.x;
    const auto* donor = joined.donor.ptr<short>(row);
    auto* source = tile.sources.ptr<ushort>(row);
    for (int column = 0; column < tile.area.width; ++column) {
      if (!covered[column]) continue;
      const int view = donor[column] >= 0 ? donor[column] : shown.views[place[column]];
      source[column] = static_cast<ushort>(scene.views[view].source_index);
    }
  }
  if (cv::countNonZero(joined.glare) > 0) tile.glare = joined.glare & shown.covered(inside);
  return tile;
}

}  // namespace lookdown::mosaic
