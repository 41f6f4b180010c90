#include <opencv2/imgproc.hpp>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {

Masks masks_above(const cv::Mat& water_chance, const cv::Mat& limit, const cv::Mat& guide) {
  Masks masks;
  cv::Mat chance, water, limits;
  water_chance.convertTo(chance, CV_8UC1, 255);
  cv::resize(chance, water, guide.size(), 0, 0, cv::INTER_LINEAR);
  cv::resize(limit, limits, guide.size(), 0, 0, cv::INTER_LINEAR);
  masks.water = water > 127;
  masks.glare = (guide > limits) & masks.water;
  return masks;
}

}  // namespace lookdown::glare
