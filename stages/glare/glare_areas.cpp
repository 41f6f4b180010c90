#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {

FeaturePlanes glare_features(const WorkingPicture& picture, const cv::Mat& water, const GlintPrior&) {
  FeaturePlanes features;
  const cv::Mat own = own_colour(picture, water);
  cv::Mat excess(water.size(), CV_32FC1), neutral(water.size(), CV_32FC1), relative(water.size(), CV_32FC1);
  for (int y = 0; y < water.rows; ++y)
    for (int x = 0; x < water.cols; ++x) {
      const cv::Vec3f seen = picture.linear.at<cv::Vec3f>(y, x), below = own.at<cv::Vec3f>(y, x);
      const cv::Vec3f added = seen - below;
      // Dichromatic: what a surface adds has the colour of its source, so every channel gains about as much.
      const float least = std::min({added[0], added[1], added[2]}), most = std::max({added[0], added[1], added[2], 1e-4f});
      const float level = (below[0] + below[1] + below[2]) / 3 + 0.01f;
      excess.at<float>(y, x) = least;
      neutral.at<float>(y, x) = least / most;
      relative.at<float>(y, x) = std::log(std::max(0.01f, 1 + least / level));
    }
  features.planes = {excess, neutral, relative, water};
  return features;
}

cv::Mat glare_chance(const WorkingPicture& picture, const cv::Mat& water, const GlintPrior& prior) {
  const FeaturePlanes features = glare_features(picture, water, prior);
  const auto& f = features.planes;
  cv::Mat chance = cv::Mat::zeros(water.size(), CV_32FC1);
  for (int y = 0; y < water.rows; ++y)
    for (int x = 0; x < water.cols; ++x) {
      if (water.at<float>(y, x) < 0.5f) continue;
      const auto at = [&](int i) { return f[i].at<float>(y, x); };
      const float score = 6 * (at(2) - 0.7f) + 20 * std::min(0.2f, at(0) - 0.08f) + 3 * (std::clamp(at(1), 0.0f, 1.0f) - 0.5f);
      chance.at<float>(y, x) = 1 / (1 + std::exp(-score));
    }
  return chance;
}

SearchResult search_picture(const cv::Mat& bgr, const GlintPrior& prior) {
  SearchResult result;
  const WorkingPicture picture = prepare(bgr);
  result.water = water_chance(picture);
  // Holes that glare or foam tore into the water are closed when small; what is large and bright stays land.
  cv::Mat closed;
  cv::morphologyEx(result.water, closed, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, {15, 15}));
  cv::morphologyEx(closed, result.water, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {15, 15}));
  result.glare = glare_chance(picture, result.water, prior);
  return result;
}

}  // namespace lookdown::glare
