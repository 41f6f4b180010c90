#include <opencv2/imgproc.hpp>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {

cv::Mat upsample_along_edges(const cv::Mat& chance, const cv::Mat& guide, int radius_px, double smoothness) {
  cv::Mat small_guide;
  cv::resize(guide, small_guide, chance.size(), 0, 0, cv::INTER_AREA);
  small_guide.convertTo(small_guide, CV_32FC1, 1 / 255.0);
  const cv::Size window(2 * radius_px + 1, 2 * radius_px + 1);
  const auto mean = [&](const cv::Mat& m) {
    cv::Mat out;
    cv::boxFilter(m, out, CV_32F, window, {-1, -1}, true, cv::BORDER_REFLECT);
    return out;
  };
  const cv::Mat mean_guide = mean(small_guide), mean_chance = mean(chance);
  const cv::Mat covariance = mean(small_guide.mul(chance)) - mean_guide.mul(mean_chance);
  const cv::Mat variance = mean(small_guide.mul(small_guide)) - mean_guide.mul(mean_guide);
  cv::Mat slope = covariance / (variance + smoothness);
  cv::Mat offset = mean_chance - slope.mul(mean_guide);
  slope = mean(slope);
  offset = mean(offset);
  cv::resize(slope, slope, guide.size(), 0, 0, cv::INTER_LINEAR);
  cv::resize(offset, offset, guide.size(), 0, 0, cv::INTER_LINEAR);
  cv::Mat result;
  guide.convertTo(result, CV_32FC1, 1 / 255.0);
  result = result.mul(slope) + offset;
  return result;
}

Masks masks_from(const cv::Mat& water_chance, const cv::Mat& glare_chance, const cv::Mat& guide) {
  Masks masks;
  cv::Mat water, glare;
  cv::resize(water_chance, water, guide.size(), 0, 0, cv::INTER_LINEAR);
  cv::compare(water, 0.5, masks.water, cv::CMP_GT);
  if (glare_chance.size() == guide.size()) glare = glare_chance;
  else glare = upsample_along_edges(glare_chance, guide, 3, 1e-4);
  cv::compare(glare, 0.5, masks.glare, cv::CMP_GT);
  cv::bitwise_or(masks.water, masks.glare, masks.water);
  return masks;
}

}  // namespace lookdown::glare
