#include "tile_scores.h"

#include <fmt/format.h>

#include <algorithm>
#include <ctime>
#include <fstream>
#include <map>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <set>
#include <sstream>
#include <vector>

#include "stages/glare/frame_masks.h"
#include "stages/glare/glare_search.h"

namespace scoring {
namespace {

using namespace lookdown::glare;

struct Tile {
  std::string name, photo, label;
};

std::vector<Tile> read_labels(const TileChoice& choice) {
  std::set<std::string> photos;
  std::stringstream list(choice.photos);
  for (std::string photo; std::getline(list, photo, ',');) photos.insert(photo);
  std::vector<Tile> tiles;
  std::ifstream file(choice.labels);
  std::string line;
  for (std::getline(file, line); std::getline(file, line);) {
    std::stringstream cells(line);
    Tile tile;
    std::getline(cells, tile.name, ',');
    std::getline(cells, tile.photo, ',');
    cells >> tile.label;
    if (photos.empty() || photos.count(tile.photo)) tiles.push_back(tile);
  }
  return tiles;
}

FrameMasks searched(const cv::Mat& bgr) {
  const SearchResult found = search_picture(prepare(bgr));
  return frame_masks(found.water, found.glint, luma_of(bgr));
}

// Trivial on purpose: what the search has to beat.
FrameMasks plain_rule(const cv::Mat& bgr) {
  constexpr int kBrighter = 28, kDarker = 14, kAroundPx = 31, kLargestPx2 = 80, kLongestPx = 25;
  constexpr double kSmooth = 8, kMostDark = 0.02;
  cv::Mat median;
  cv::medianBlur(bgr, median, 15);
  cv::Mat specks(bgr.size(), CV_8UC1), dark(bgr.size(), CV_32FC1);
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      const cv::Vec3i excess = cv::Vec3i(bgr.at<cv::Vec3b>(y, x)) - cv::Vec3i(median.at<cv::Vec3b>(y, x));
      specks.at<uchar>(y, x) = std::min({excess[0], excess[1], excess[2]}) > kBrighter ? 255 : 0;
      dark.at<float>(y, x) = std::max({excess[0], excess[1], excess[2]}) < -kDarker ? 1.0f : 0.0f;
    }
  cv::Mat labels, stats, centroids, level, mean, square;
  cv::connectedComponentsWithStats(specks, labels, stats, centroids, 8, CV_32S);
  luma_of(median).convertTo(level, CV_32FC1);
  cv::blur(level, mean, {kAroundPx, kAroundPx});
  cv::blur(level.mul(level), square, {kAroundPx, kAroundPx});
  cv::blur(dark, dark, {kAroundPx, kAroundPx});
  const cv::Mat smooth = (square - mean.mul(mean) < kSmooth * kSmooth) & (dark < kMostDark);
  for (int y = 0; y < bgr.rows; ++y)
    for (int x = 0; x < bgr.cols; ++x) {
      const int label = labels.at<int>(y, x);
      if (stats.at<int>(label, cv::CC_STAT_AREA) >= kLargestPx2 ||
          std::max(stats.at<int>(label, cv::CC_STAT_WIDTH), stats.at<int>(label, cv::CC_STAT_HEIGHT)) >=
              kLongestPx)
        specks.at<uchar>(y, x) = 0;
    }
  return {{}, specks & smooth};
}

struct Overlap {
  double hit = 0, any = 0;
  int count = 0;
  void add(const cv::Mat& found, const std::filesystem::path& truth) {
    if (found.empty() || !std::filesystem::exists(truth)) return;
    const cv::Mat mask = cv::imread(truth.string(), cv::IMREAD_GRAYSCALE);
    hit += cv::countNonZero(found & mask);
    any += cv::countNonZero(found | mask);
    ++count;
  }
};

struct Sum {
  std::map<std::string, std::vector<double>> shares;  // by label
  Overlap water, glare;
  void add(const Tile& tile, const FrameMasks& marked, const TileChoice& choice) {
    shares[tile.label].push_back(cv::countNonZero(marked.glare) / static_cast<double>(marked.glare.total()));
    const std::string mask = std::filesystem::path(tile.name).stem().string() + ".png";
    if (!choice.outlines.empty()) water.add(marked.water, choice.outlines / mask);
    if (!choice.glitter.empty()) glare.add(marked.glare, choice.glitter / mask);
  }
  void print(const char* name) {
    constexpr double kGlints = 0.003;
    double ordered = 0, pairs = 0, marked = 0;
    const auto &yes = shares["yes"], &no = shares["no"];
    for (const double y : yes)
      for (const double n : no) ordered += y > n ? 1 : y == n ? 0.5 : 0, ++pairs;
    for (const double n : no) marked += n;
    fmt::print(
        "  {:<12} ROC area {:.3f}  marked without glint {:.4f} %  glint tiles with 0.3 % or more {}/{}", name,
        ordered / std::max(1.0, pairs), 100 * marked / std::max<double>(1, static_cast<double>(no.size())),
        std::count_if(yes.begin(), yes.end(), [](double y) { return y >= kGlints; }), yes.size());
    if (water.count > 0) fmt::print("  water IoU {:.3f} of {}", water.hit / water.any, water.count);
    if (glare.count > 0) fmt::print("  glare IoU {:.3f} of {}", glare.hit / glare.any, glare.count);
    fmt::print("\n");
  }
};

void draw(const std::filesystem::path& path, const cv::Mat& bgr, const FrameMasks& marked,
          const std::string& text) {
  cv::Mat drawn = bgr.clone(), both;
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(marked.water.clone(), outlines, cv::RETR_LIST, cv::CHAIN_APPROX_NONE);
  cv::drawContours(drawn, outlines, -1, {255, 80, 0}, 3);
  drawn.setTo(cv::Scalar(0, 0, 255), marked.glare);
  cv::hconcat(bgr, drawn, both);
  cv::putText(both, text, {8, 30}, cv::FONT_HERSHEY_SIMPLEX, 1, {0, 255, 255}, 2);
  cv::imwrite(path.string(), both);
}

}  // namespace

void score_tiles(const TileChoice& choice) {
  Sum search, plain;
  double seconds = 0;
  const std::vector<Tile> tiles = read_labels(choice);
  for (const Tile& tile : tiles) {
    const cv::Mat bgr = cv::imread((choice.tiles / tile.name).string(), cv::IMREAD_COLOR);
    if (bgr.empty()) {
      fmt::print(stderr, "{}: cannot be read\n", (choice.tiles / tile.name).string());
      continue;
    }
    const std::clock_t started = std::clock();
    const FrameMasks marked = searched(bgr);
    seconds += static_cast<double>(std::clock() - started) / CLOCKS_PER_SEC;
    search.add(tile, marked, choice);
    plain.add(tile, plain_rule(bgr), choice);
    if (choice.each)
      fmt::print("  {} {:<6} glare {:.3f} %  water {:.3f}\n", tile.name, tile.label,
                 100 * search.shares[tile.label].back(),
                 cv::countNonZero(marked.water) / static_cast<double>(bgr.total()));
    if (!choice.pictures.empty())
      draw(choice.pictures / tile.name, bgr, marked,
           fmt::format("{} {} {:.2f} %", tile.name, tile.label,
                       100.0 * cv::countNonZero(marked.glare) / static_cast<double>(bgr.total())));
  }
  fmt::print("{} tiles, {:.0f} ms of processor time each\n", tiles.size(),
             1000 * seconds / std::max<double>(1, static_cast<double>(tiles.size())));
  search.print("search");
  plain.print("plain rule");
}

}  // namespace scoring
