#include "stages/glare/glint/sun_glint.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "stages/glare/glint/glitter_field.h"
#include "stages/glare/glint/glitter_tiles.h"
#include "stages/glare/picture/plane_math.h"

namespace lookdown::glare {
namespace {

// Sizes in working pixels. A facet's glint is small and hangs together with few others; bars, rails, ropes,
// hulls and stones are long or broad.
constexpr int kLargestSpeckPx2 = 80, kLongestSpeckPx = 25;
// Of the water within some 100 px that must be specks, lest they be flecks, birds and foam.
constexpr double kLeastDensity = 0.0025, kDensityReachPx = 40;
// From here on specks run into each other, and the dark side of the water alone says what lies below.
constexpr double kDenseField = 0.02;
// So many specks within about as far, lest a fleck or three count; and so many that the field may go on
// beyond them.
constexpr double kLeastCount = 3, kManySpecks = 20;
// Of what reflected light must exceed, see glare_threshold.
constexpr float kOfWater = 0.8f, kNoise = 0.035f;

struct Piece {
  int area = 0, longer_px = 0;
  cv::Vec3f excess{0, 0, 0};
  bool source_coloured() const {
    // Mirrored sun and sky have the colour of their source: white to blue, never one channel alone.
    constexpr float kLeastShare = 0.25f;
    return std::min({excess[0], excess[1], excess[2]}) >=
           kLeastShare * std::max({excess[0], excess[1], excess[2]});
  }
  bool speck() const { return area < kLargestSpeckPx2 && longer_px < kLongestSpeckPx; }
};

struct Pieces {
  cv::Mat labels;  // CV_32SC1
  std::vector<Piece> pieces;
  template <class Keep>
  [[nodiscard]] cv::Mat kept(const Keep& keep) const {
    std::vector<uchar> value(pieces.size(), 0);
    for (std::size_t i = 1; i < pieces.size(); ++i) value[i] = keep(i) ? 255 : 0;
    cv::Mat out(labels.size(), CV_8UC1);
    for (int y = 0; y < labels.rows; ++y) {
      const int* in = labels.ptr<int>(y);
      uchar* to = out.ptr<uchar>(y);
      for (int x = 0; x < labels.cols; ++x) to[x] = value[static_cast<std::size_t>(in[x])];
    }
    return out;
  }
};

// Connected bright things and what they add to the calm water's colour.
Pieces pieces_of(const WorkingPicture& picture, const cv::Mat& bright) {
  Pieces found;
  const int count = cv::connectedComponents(bright, found.labels, 8, CV_32S);
  found.pieces.resize(static_cast<std::size_t>(count));
  std::vector<cv::Rect> bounds(found.pieces.size());
  const auto& linear = linear_of_level();
  for (int y = 0; y < bright.rows; ++y) {
    const int* labels = found.labels.ptr<int>(y);
    const auto* own = picture.bgr.ptr<cv::Vec3b>(y);
    const auto* calm = picture.calm_bgr.ptr<cv::Vec3b>(std::min(y / 2, picture.calm_bgr.rows - 1));
    for (int x = 0; x < bright.cols; ++x) {
      if (labels[x] == 0) continue;
      const auto label = static_cast<std::size_t>(labels[x]);
      const cv::Vec3b here = own[x], below = calm[std::min(x / 2, picture.calm_bgr.cols - 1)];
      Piece& piece = found.pieces[label];
      ++piece.area;
      bounds[label] |= cv::Rect(x, y, 1, 1);
      for (int c = 0; c < 3; ++c) piece.excess[c] += std::max(0.0f, linear[here[c]] - linear[below[c]]);
    }
  }
  for (std::size_t i = 0; i < bounds.size(); ++i)
    found.pieces[i].longer_px = std::max(bounds[i].width, bounds[i].height);
  return found;
}

// Share of the surroundings that is water, half the working size.
cv::Mat wet_around(const cv::Mat& water) {
  return blurred(shares_of_mask(water), kDensityReachPx / 2);
}

// Share of the water around that is marked, half the working size.
cv::Mat density(const cv::Mat& marked, const cv::Mat& wet) {
  cv::Mat share;
  cv::resize(marked, share, wet.size(), 0, 0, cv::INTER_AREA);
  return blurred(shares_of_mask(share), kDensityReachPx / 2) / (wet + 0.05);
}

// Specks in each pixel's surroundings, as many as if all of it were water; half of the working size.
cv::Mat count_around(const Pieces& pieces, const cv::Mat& specks, const cv::Mat& wet) {
  constexpr double kSigmaPx = kDensityReachPx / 2, kAreaPx2 = 2 * std::numbers::pi * kSigmaPx * kSigmaPx;
  cv::Mat count = cv::Mat::zeros(wet.size(), CV_32FC1);
  std::vector<char> counted(pieces.pieces.size(), 0);
  for (int y = 0; y < specks.rows; ++y) {
    const uchar* speck = specks.ptr<uchar>(y);
    for (int x = 0; x < specks.cols; ++x) {
      if (!speck[x] || std::exchange(counted[static_cast<std::size_t>(pieces.labels.at<int>(y, x))], 1))
        continue;
      count.at<float>(std::min(y / 2, count.rows - 1), std::min(x / 2, count.cols - 1)) += 1;
    }
  }
  return kAreaPx2 * blurred(count, kSigmaPx) / (wet + 0.15);
}

// Stones, foam, crust and the rims of boards line the water.
cv::Mat off_shore(const cv::Mat& water) {
  constexpr int kShorePx = 4;  // half-size pixels
  cv::Mat inner;
  cv::erode(water, inner, cv::getStructuringElement(cv::MORPH_RECT, {2 * kShorePx + 1, 2 * kShorePx + 1}));
  return inner;
}

// e^-shift of the least excess, from what is known beside the picture; bounded, so that it never decides.
cv::Mat excess_factor(const GlintPrior& prior, cv::Size size) {
  if (prior.odds.empty()) return {};
  constexpr double kLeast = -1, kMost = 0.5, kSteepness = 4;
  cv::Mat factor = cv::min(cv::max(at_size(prior.odds, size), kLeast), kMost) * (-1 / kSteepness);
  cv::exp(factor, factor);
  return factor;
}

// Stored luma above which there is glare over `base`, working size.
cv::Mat threshold_over(const cv::Mat& base, const cv::Mat& factor, cv::Size size) {
  cv::Mat least = glare_threshold(base);
  if (!factor.empty()) least = base + (least - base).mul(factor);
  return at_size(stored_level(least), size);
}

// Share of each piece's rim that lies on `mask` (CV_8UC1, the pieces' size); the picture's own border is no
// rim.
std::vector<double> rim_shares(const Pieces& pieces, const cv::Mat& mask) {
  std::vector<double> rim(pieces.pieces.size(), 0), on_mask(pieces.pieces.size(), 0);
  for (int y = 1; y + 1 < mask.rows; ++y) {
    const int *labels = pieces.labels.ptr<int>(y), *above = pieces.labels.ptr<int>(y - 1),
              *below = pieces.labels.ptr<int>(y + 1);
    const uchar* on = mask.ptr<uchar>(y);
    for (int x = 1; x + 1 < mask.cols; ++x) {
      const int label = labels[x];
      if (label == 0 ||
          (labels[x - 1] == label && labels[x + 1] == label && above[x] == label && below[x] == label))
        continue;
      ++rim[static_cast<std::size_t>(label)];
      on_mask[static_cast<std::size_t>(label)] += on[x] != 0;
    }
  }
  for (std::size_t i = 0; i < rim.size(); ++i) on_mask[i] /= std::max(rim[i], 1.0);
  return on_mask;
}

cv::Mat widened(const cv::Mat& mask, int by_px) {
  cv::Mat wide;
  cv::dilate(mask, wide, cv::getStructuringElement(cv::MORPH_RECT, {2 * by_px + 1, 2 * by_px + 1}));
  return wide;
}

// Larger bright pieces that belong to the glitter: those whose rim mostly adjoins specks, and of the midst of
// a field all that do not line the land.
cv::Mat amid(const Pieces& pieces, const cv::Mat& specks, const cv::Mat& midst, const cv::Mat& land) {
  constexpr double kOfSpecks = 0.35, kOfLand = 0.25;
  constexpr int kNearPx = 4;
  const std::vector<double> specks_around = rim_shares(pieces, widened(specks, kNearPx)),
                            land_around = rim_shares(pieces, widened(land, kNearPx));
  const auto coloured = [&](std::size_t i) {
    return !pieces.pieces[i].speck() && pieces.pieces[i].source_coloured();
  };
  return pieces.kept([&](std::size_t i) { return coloured(i) && specks_around[i] > kOfSpecks; }) |
         (midst & pieces.kept([&](std::size_t i) { return coloured(i) && land_around[i] < kOfLand; }));
}

uchar clipped_level() {
  static const uchar level = stored_level(cv::Mat(1, 1, CV_32FC1, cv::Scalar(kClippedLight))).at<uchar>(0);
  return level;
}

// What lies below a field is what lies below the water around it, as far as there is any; but not the water
// in the shade of trees, where not even the darkest place within a wave or two is as dark. White is no water.
cv::Mat below_field(const WorkingPicture& picture, const Surface& surface, const cv::Mat& field) {
  if (cv::countNonZero(field) == 0) return surface.water_leaving.clone();
  constexpr double kLeastOfDarkest = 0.8;
  constexpr int kReachPx = 17;
  const cv::Mat own = water_leaving_luminance(picture.calm_bgr, surface.water | field),
                around = water_leaving_luminance(picture.calm_bgr, surface.water & ~field);
  cv::Mat below = cv::min(own, around), darkest;
  own.copyTo(below, around <= 0);
  cv::erode(luma_of(picture.calm_bgr), darkest,
            cv::getStructuringElement(cv::MORPH_RECT, {kReachPx, kReachPx}));
  darkest.setTo(0, darkest >= clipped_level());
  below = cv::max(below, kLeastOfDarkest * luminance_of(darkest));
  // Where white outweighs dark the dark side of a few waves is what there is.
  cv::Mat dark;
  cv::exp(over_tiles(surface.usual.tiles.luminance, field.size(), cv::INTER_LINEAR), dark);
  cv::Mat(cv::min(below, dark)).copyTo(below, field);
  return below;
}

// Where specks lie densely they run into each other, and the dark side of the water alone says what lies
// below. Adds to `glint` and lowers its threshold there; returns the larger pieces that belong to the field.
cv::Mat find_field(const WorkingPicture& picture, const Surface& surface, const cv::Mat& dense,
                   const cv::Mat& specks, const cv::Mat& wet, const cv::Mat& factor, Glint& glint) {
  // Even the darkest of a field mirrors something, in this view and in others.
  constexpr double kOfFieldsDarkSide = 0.8;
  const cv::Size size = picture.bgr.size();
  glint.field = glitter_field(surface.usual, surface.patches, surface.looks, surface.water, specks);
  cv::Mat leaving = below_field(picture, surface, glint.field);
  if (!surface.told.empty()) surface.water_leaving.copyTo(leaving, surface.told);
  cv::Mat(kOfFieldsDarkSide * leaving).copyTo(leaving, glint.field);
  const cv::Mat midst = at_size(glint.field, size, cv::INTER_NEAREST),
                in_field = (at_size(dense, size, cv::INTER_NEAREST) & wet) | midst,
                over_water = threshold_over(leaving, factor, size);
  const Pieces joined = pieces_of(picture, (picture.peak > over_water) & in_field);
  glint.glitter |= joined.kept(
      [&](std::size_t i) { return joined.pieces[i].speck() && joined.pieces[i].source_coloured(); });
  over_water.copyTo(glint.threshold, in_field);
  return amid(joined, glint.glitter, midst, at_size(~(surface.water | glint.field), size, cv::INTER_NEAREST));
}

// Broad patches without texture, which clip.
cv::Mat smooth_glint(const WorkingPicture& picture, const cv::Mat& broad) {
  cv::Mat smooth = broad & (luma_of(picture.bgr) >= clipped_level());
  if (cv::countNonZero(smooth) > 0)
    cv::morphologyEx(smooth, smooth, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {9, 9}));
  return smooth;
}

}  // namespace

// The water-leaving luminance has some of the sky's in it already; the second term is noise, and the
// faintest reflection that shows.
cv::Mat glare_threshold(const cv::Mat& water_leaving) {
  return (1 + kOfWater) * water_leaving + kNoise;
}

float glare_threshold_over(float water_leaving) {
  return (1 + kOfWater) * water_leaving + kNoise;
}

cv::Mat water_leaving_luminance(const cv::Mat& calm_bgr, const cv::Mat& water) {
  constexpr int kTilePx = 16;
  constexpr double kDarkSide = 0.3, kSpreadTiles = 1.2;
  const cv::Mat luma = luma_of(calm_bgr);
  const int columns = (water.cols + kTilePx - 1) / kTilePx, rows = (water.rows + kTilePx - 1) / kTilePx;
  cv::Mat sum = cv::Mat::zeros(rows, columns, CV_32FC1), weights = sum.clone();
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const cv::Rect tile =
          cv::Rect(column * kTilePx, row * kTilePx, kTilePx, kTilePx) & cv::Rect({0, 0}, water.size());
      std::array<int, 256> histogram{};
      int count = 0;
      for (int y = tile.y; y < tile.br().y; ++y)
        for (int x = tile.x; x < tile.br().x; ++x)
          if (water.at<uchar>(y, x)) ++histogram[luma.at<uchar>(y, x)], ++count;
      if (count < kTilePx) continue;
      std::size_t level = 0;
      for (int below = histogram[0]; below < kDarkSide * count; below += histogram[level]) ++level;
      const float light = linear_of_level()[level];
      // Tiles full of glare know little of what lies below: the darker one is, the more its neighbours
      // borrow.
      const float weight = static_cast<float>(count) / (0.02f + light);
      sum.at<float>(row, column) = weight * light;
      weights.at<float>(row, column) = weight;
    }
  // Away from the water what lies nearest tells: a broader spread, of next to no weight where the narrower
  // tells.
  constexpr float kFaint = 1e-3f;
  cv::Mat far_sum, far_weights, luminance;
  cv::GaussianBlur(sum, far_sum, {0, 0}, 4 * kSpreadTiles);
  cv::GaussianBlur(weights, far_weights, {0, 0}, 4 * kSpreadTiles);
  cv::GaussianBlur(sum, sum, {0, 0}, kSpreadTiles);
  cv::GaussianBlur(weights, weights, {0, 0}, kSpreadTiles);
  cv::resize((sum + kFaint * far_sum) / (weights + kFaint * far_weights + 1e-6), luminance, water.size(), 0,
             0, cv::INTER_LINEAR);
  return luminance;
}

Glint find_glint(const WorkingPicture& picture, const Surface& surface, const GlintPrior& prior) {
  const cv::Size size = picture.bgr.size();
  const cv::Mat none = cv::Mat::zeros(size, CV_8UC1), factor = excess_factor(prior, surface.water.size()),
                wet = at_size(off_shore(surface.water), size, cv::INTER_NEAREST);

  // What stays bright when small things are taken away is bottom, shade's edge, crust or a board; where other
  // views tell what lies below, it may be anything.
  cv::Mat base = cv::max(surface.water_leaving, luminance_of(luma_of(picture.calm_bgr)));
  if (!surface.told.empty()) surface.water_leaving.copyTo(base, surface.told);
  const auto nothing = [&] { return cv::Mat(cv::Mat::zeros(size, CV_8UC1)); };
  Glint glint{nothing(), nothing(), nothing(), cv::Mat::zeros(surface.water.size(), CV_8UC1),
              threshold_over(base, factor, size)};
  const cv::Mat bright = (picture.peak > glint.threshold) & wet;
  const bool midst = cv::countNonZero(surface.usual.tiles.dense | (surface.usual.glitter > 0.5)) > 0;
  if (cv::countNonZero(bright) == 0 && !midst) return glint;
  const Pieces over = pieces_of(picture, bright);
  const cv::Mat lone =
      over.kept([&](std::size_t i) { return over.pieces[i].speck() && over.pieces[i].source_coloured(); });
  const cv::Mat water_around = wet_around(surface.water), around = density(lone, water_around),
                count = count_around(over, lone, water_around),
                many = (around > kLeastDensity) & (count > kLeastCount), dense = around > kDenseField;
  glint.glitter = lone & at_size(many, size, cv::INTER_NEAREST);
  cv::Mat broad = nothing(), large = nothing();
  if (!surface.told.empty())
    broad = over.kept([&](std::size_t i) {
      return !over.pieces[i].speck() && over.pieces[i].source_coloured();
    }) & at_size(surface.told & surface.wet, size, cv::INTER_NEAREST);
  if (cv::countNonZero(dense) > 0 || midst)
    large = find_field(picture, surface, dense, dense & (count > kManySpecks), wet, factor, glint);
  glint.smooth = smooth_glint(picture, large | broad);
  glint.glitter = (glint.glitter | large) & ~glint.smooth;
  glint.veil = broad & ~glint.smooth & ~glint.glitter;
  return glint;
}

}  // namespace lookdown::glare
