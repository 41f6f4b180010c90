#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {
namespace {

constexpr int kTilePx = 32;
constexpr int kPondStep = 4;  // ponds are told apart on a copy this many times smaller

// Each pixel of the small copy gets the number of the nearest separate water; ponds of different colours lie
// side by side, and one must not lend its colour to the next. 0 where there is no water at all.
cv::Mat nearest_pond(const cv::Mat& water, int& ponds) {
  cv::Mat small;
  cv::resize(water, small, {std::max(1, water.cols / kPondStep), std::max(1, water.rows / kPondStep)}, 0, 0,
             cv::INTER_AREA);
  cv::Mat inside = small > 0.45f, labels, stats, centroids;
  cv::morphologyEx(inside, inside, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {5, 5}));
  const int count = cv::connectedComponentsWithStats(inside, labels, stats, centroids, 8, CV_32S);
  const double least_area = 0.0015 * static_cast<double>(small.total());
  for (int y = 0; y < inside.rows; ++y)
    for (int x = 0; x < inside.cols; ++x) {
      const int label = labels.at<int>(y, x);
      if (label > 0 && label < count && stats.at<int>(label, cv::CC_STAT_AREA) < least_area)
        inside.at<uchar>(y, x) = 0;
    }
  if (cv::countNonZero(inside) == 0) {
    // Scattered traces of water only: they count as one.
    ponds = cv::countNonZero(small > 0.25f) > 0 ? 1 : 0;
    return cv::Mat(small.size(), CV_32SC1, cv::Scalar(ponds));
  }
  cv::Mat distance, nearest;
  cv::distanceTransform(~inside, distance, nearest, cv::DIST_L2, 5, cv::DIST_LABEL_CCOMP);
  double most = 0;
  cv::minMaxLoc(nearest, nullptr, &most);
  ponds = static_cast<int>(most);
  return nearest;
}

struct Tiles {
  cv::Mat colour;  // CV_32FC3, times weight
  cv::Mat weight;  // CV_32FC1
};

// The darkest third of the water pixels of each tile, for each pond.
std::vector<Tiles> dark_sides(const WorkingPicture& picture, const cv::Mat& water, const cv::Mat& nearest,
                              int ponds) {
  const int columns = (water.cols + kTilePx - 1) / kTilePx, rows = (water.rows + kTilePx - 1) / kTilePx;
  std::vector<Tiles> tiles(ponds + 1);
  for (Tiles& t : tiles)
    t = {cv::Mat::zeros(rows, columns, CV_32FC3), cv::Mat::zeros(rows, columns, CV_32FC1)};
  struct Seen {
    float light;
    float chance;
    cv::Point at;
  };
  std::vector<std::vector<Seen>> seen(ponds + 1);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const cv::Rect tile =
          cv::Rect(column * kTilePx, row * kTilePx, kTilePx, kTilePx) & cv::Rect({0, 0}, water.size());
      for (auto& list : seen) list.clear();
      for (int y = tile.y; y < tile.br().y; y += 2)
        for (int x = tile.x; x < tile.br().x; x += 2)
          if (const float chance = water.at<float>(y, x); chance > 0.25f) {
            const int pond = nearest.at<int>(std::min(y / kPondStep, nearest.rows - 1),
                                             std::min(x / kPondStep, nearest.cols - 1));
            seen[pond].push_back({picture.light.at<float>(y, x), chance, {x, y}});
          }
      for (int pond = 1; pond <= ponds; ++pond) {
        auto& list = seen[pond];
        if (list.size() < 12) continue;
        const auto third = list.begin() + static_cast<long>(list.size() / 3);
        std::nth_element(list.begin(), third, list.end(),
                         [](const Seen& a, const Seen& b) { return a.light < b.light; });
        cv::Vec3f sum(0, 0, 0);
        float sure = 0;
        for (auto it = list.begin(); it <= third; ++it) sum += picture.linear.at<cv::Vec3f>(it->at);
        for (const Seen& s : list) sure += s.chance;
        const float count = static_cast<float>(third - list.begin() + 1);
        // Tiles full of glare know little of what lies below: the darker a tile, the more its neighbours
        // borrow from it.
        const float weight = sure / (0.02f + third->light);
        tiles[pond].colour.at<cv::Vec3f>(row, column) = sum * (weight / count);
        tiles[pond].weight.at<float>(row, column) = weight;
      }
    }
  return tiles;
}

cv::Mat spread(const Tiles& tiles, double sigma_tiles, const cv::Mat& where_unknown) {
  cv::Mat colour, weight;
  cv::GaussianBlur(tiles.colour, colour, {0, 0}, sigma_tiles);
  cv::GaussianBlur(tiles.weight, weight, {0, 0}, sigma_tiles);
  for (int row = 0; row < colour.rows; ++row)
    for (int column = 0; column < colour.cols; ++column) {
      const float w = weight.at<float>(row, column);
      cv::Vec3f& c = colour.at<cv::Vec3f>(row, column);
      if (w > 1e-3f)
        c *= 1 / w;
      else
        c = where_unknown.empty() ? cv::Vec3f(0, 0, 0) : where_unknown.at<cv::Vec3f>(row, column);
    }
  return colour;
}

// The pond's mean, for places out of reach of the spreading.
cv::Mat everywhere(const Tiles& tiles) {
  const cv::Scalar sum = cv::sum(tiles.colour);
  const double weight = std::max(1e-6, cv::sum(tiles.weight)[0]);
  return cv::Mat(tiles.weight.size(), CV_32FC3,
                 cv::Scalar(sum[0] / weight, sum[1] / weight, sum[2] / weight));
}

}  // namespace

OwnColour own_colour(const WorkingPicture& picture, const cv::Mat& water) {
  OwnColour own{cv::Mat::zeros(water.size(), CV_32FC3), cv::Mat::zeros(water.size(), CV_32FC3)};
  int ponds = 0;
  const cv::Mat nearest = nearest_pond(water, ponds);
  if (ponds == 0) return own;
  const std::vector<Tiles> tiles = dark_sides(picture, water, nearest, ponds);
  cv::Mat label;
  nearest.convertTo(label, CV_16U);
  cv::resize(label, label, water.size(), 0, 0, cv::INTER_NEAREST);
  for (int pond = 1; pond <= ponds; ++pond) {
    const cv::Mat here = label == pond, wide = spread(tiles[pond], 6, everywhere(tiles[pond])),
                  near = spread(tiles[pond], 1.2, wide);
    cv::Mat full;
    cv::resize(wide, full, water.size(), 0, 0, cv::INTER_LINEAR);
    full.copyTo(own.wide, here);
    cv::resize(near, full, water.size(), 0, 0, cv::INTER_LINEAR);
    full.copyTo(own.near, here);
  }
  return own;
}

}  // namespace lookdown::glare
