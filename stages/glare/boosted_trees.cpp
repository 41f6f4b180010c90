#include "stages/glare/boosted_trees.h"

#include <algorithm>
#include <vector>

namespace lookdown::glare {

cv::Mat log_odds(const TreeModel& model, const FeaturePlanes& features, const cv::Mat& where) {
  const cv::Size size = features.planes.at(0).size();
  cv::Mat sum(size, CV_32FC1, cv::Scalar(model.bias));
  std::vector<int> leaf(size.width);
  for (int y = 0; y < size.height; ++y) {
    auto* out = sum.ptr<float>(y);
    int first = 0, end = size.width;
    if (!where.empty()) {
      const auto* asked = where.ptr<uchar>(y);
      while (first < end && !asked[first]) ++first;
      while (end > first && !asked[end - 1]) --end;
    }
    for (const Tree& tree : model.trees) {
      std::fill(leaf.begin() + first, leaf.begin() + end, 0);
      for (int level = 0; level < kTreeDepth; ++level) {
        const auto* in = features.planes[tree.feature[level]].ptr<float>(y);
        const float limit = tree.limit[level];
        const int bit = 1 << level;
        int* l = leaf.data();
        for (int x = first; x < end; ++x) l[x] |= in[x] > limit ? bit : 0;
      }
      for (int x = first; x < end; ++x) out[x] += tree.value[leaf[x]];
    }
  }
  return sum;
}

cv::Mat chance_of(const cv::Mat& log_odds) {
  cv::Mat chance;
  cv::exp(-log_odds, chance);
  chance += 1.0;
  cv::divide(1.0, chance, chance);
  return chance;
}

}  // namespace lookdown::glare
