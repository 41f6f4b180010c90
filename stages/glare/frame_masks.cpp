#include "stages/glare/frame_masks.h"

#include <algorithm>
#include <cstdint>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/base/files/atomic_file.h"
#include "stages/glare/glare.h"

namespace lookdown::glare {
namespace {

constexpr double kLeastWaterShare = 0.001;  // less is nobody's pond

int stretched(int index, int from, int to) {
  return static_cast<int>(std::int64_t{index} * to / from);
}

// Most frames glare in few places: only those are gone through at full size.
cv::Mat brighter(const cv::Mat& marked, const cv::Mat& threshold, const cv::Mat& luma) {
  cv::Mat glare = cv::Mat::zeros(luma.size(), CV_8UC1);
  std::vector<int> column_edges;
  for (int x = 0; x <= marked.cols; ++x) column_edges.push_back(stretched(x, marked.cols, luma.cols));
  for (int row = 0; row < marked.rows; ++row) {
    const uchar *mark = marked.ptr<uchar>(row), *least = threshold.ptr<uchar>(row);
    const int top = stretched(row, marked.rows, luma.rows),
              bottom = stretched(row + 1, marked.rows, luma.rows);
    for (int column = 0; column < marked.cols; ++column) {
      if (!mark[column]) continue;
      const int left = column_edges[static_cast<std::size_t>(column)],
                right = column_edges[static_cast<std::size_t>(column) + 1];
      for (int y = top; y < bottom; ++y) {
        const uchar* in = luma.ptr<uchar>(y);
        uchar* out = glare.ptr<uchar>(y);
        for (int x = left; x < right; ++x)
          if (in[x] > least[column]) out[x] = 255;
      }
    }
  }
  return glare;
}

std::string kind_of(const Glare& shares, const Glint& glint) {
  if (shares.water_share < kLeastWaterShare) return "no water";
  if (shares.glare_share <= 0) return "none";
  const int glitter = cv::countNonZero(glint.glitter), smooth = cv::countNonZero(glint.smooth),
            veil = cv::countNonZero(glint.veil);
  if (veil > std::max(glitter, smooth)) return "sky";
  return smooth > glitter ? "glint" : "glitter";
}

}  // namespace

FrameMasks frame_masks(const cv::Mat& water, const Glint& glint, const cv::Mat& luma) {
  FrameMasks masks;
  masks.glare = brighter(glint.any(), glint.threshold, luma);
  cv::resize(water, masks.water, luma.size(), 0, 0, cv::INTER_NEAREST);
  masks.water |= masks.glare;
  return masks;
}

Glare shares_of(const FrameMasks& masks, const Glint& glint) {
  Glare shares;
  const double total = static_cast<double>(std::max<std::size_t>(1, masks.water.total()));
  shares.water_share = cv::countNonZero(masks.water) / total;
  shares.glare_share = cv::countNonZero(masks.glare) / total;
  if (shares.water_share >= kLeastWaterShare) {
    shares.glare_share_of_water = shares.glare_share / shares.water_share;
    shares.readable_water_share = std::clamp(1 - *shares.glare_share_of_water, 0.0, 1.0);
  }
  shares.kind = kind_of(shares, glint);
  return shares;
}

Glare shares_without_water() {
  return shares_of({cv::Mat::zeros(1, 1, CV_8UC1), cv::Mat::zeros(1, 1, CV_8UC1)}, {});
}

std::string mask_png(const cv::Mat& mask) {
  std::vector<uchar> bytes;
  if (!cv::imencode(".png", mask, bytes, {cv::IMWRITE_PNG_BILEVEL, 1, cv::IMWRITE_PNG_COMPRESSION, 1}))
    throw WriteError("a mask could not be encoded as PNG");
  return {bytes.begin(), bytes.end()};
}

}  // namespace lookdown::glare
