#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/glare_search.h"
#include "stages/glare/plane_math.h"

namespace lookdown::glare {
namespace {

struct Blob {
  float area = 0, border = 0;             // pixels
  double water = 0, edge = 0, tint = 0;   // sums, edge over the border only
  float peak = -10;
};

// How fast the light falls, as a logarithm a pixel.
cv::Mat steepness(const cv::Mat& log_light) {
  cv::Mat dx, dy, steep;
  cv::Sobel(log_light, dx, CV_32F, 1, 0, 3, 0.125);
  cv::Sobel(log_light, dy, CV_32F, 0, 1, 3, 0.125);
  cv::magnitude(dx, dy, steep);
  return steep;
}

bool on_border(const cv::Mat& labels, int y, int x, int label) {
  return (y > 0 && labels.at<int>(y - 1, x) != label) || (y + 1 < labels.rows && labels.at<int>(y + 1, x) != label) ||
         (x > 0 && labels.at<int>(y, x - 1) != label) || (x + 1 < labels.cols && labels.at<int>(y, x + 1) != label);
}

}  // namespace

FeaturePlanes blob_features(const cv::Mat& bright, const cv::Mat& log_light, const cv::Mat& water_around, const cv::Mat& saturation) {
  cv::Mat labels, stats, centroids;
  const int count = cv::connectedComponentsWithStats(bright, labels, stats, centroids, 8, CV_32S);
  const cv::Mat steep = steepness(log_light);
  std::vector<Blob> blobs(count);
  for (int y = 0; y < labels.rows; ++y)
    for (int x = 0; x < labels.cols; ++x) {
      const int label = labels.at<int>(y, x);
      if (label == 0) continue;
      Blob& blob = blobs[label];
      blob.area += 1;
      blob.water += water_around.at<float>(y, x);
      blob.tint += saturation.at<float>(y, x);
      blob.peak = std::max(blob.peak, log_light.at<float>(y, x));
      if (on_border(labels, y, x, label)) blob.border += 1, blob.edge += steep.at<float>(y, x);
    }
  std::vector<std::array<float, 6>> rows(count, std::array<float, 6>{});
  for (int label = 1; label < count; ++label) {
    const Blob& blob = blobs[label];
    const auto width = static_cast<float>(stats.at<int>(label, cv::CC_STAT_WIDTH)), height = static_cast<float>(stats.at<int>(label, cv::CC_STAT_HEIGHT));
    rows[label] = {std::log(1 + std::max(width, height)), blob.area / (width * height), static_cast<float>(blob.water / blob.area),
                   static_cast<float>(blob.edge / std::max(1.0f, blob.border)), static_cast<float>(blob.tint / blob.area), blob.peak};
  }
  FeaturePlanes features;
  for (std::size_t k = 0; k < 6; ++k) {
    cv::Mat plane(labels.size(), CV_32FC1);
    for (int y = 0; y < labels.rows; ++y) {
      const int* label = labels.ptr<int>(y);
      auto* out = plane.ptr<float>(y);
      for (int x = 0; x < labels.cols; ++x) out[x] = rows[label[x]][k];
    }
    features.planes.push_back(plane);
  }
  return features;
}

}  // namespace lookdown::glare
