#include "stages/mosaic/render/multi_band_blending.h"

#include <opencv2/imgproc.hpp>

namespace lookdown::mosaic {
namespace {

cv::Rect halved(const cv::Rect& area, int times) {
  return {area.x >> times, area.y >> times, area.width >> times, area.height >> times};
}

void add_weighted_by(cv::Mat band, const cv::Mat& detail, const cv::Mat& weight) {
  for (int row = 0; row < band.rows; ++row) {
    auto* sum = band.ptr<cv::Vec3f>(row);
    const auto* value = detail.ptr<cv::Vec3f>(row);
    const auto* share = weight.ptr<float>(row);
    for (int column = 0; column < band.cols; ++column) sum[column] += value[column] * share[column];
  }
}

}  // namespace

BandBlend::BandBlend(cv::Size size) {
  for (int band = 0; band <= kBands; ++band)
    bands_.emplace_back(size.height >> band, size.width >> band, CV_32FC3, cv::Scalar::all(0));
}

void BandBlend::add(const cv::Mat& picture, const cv::Mat& mask, const cv::Rect& where) {
  cv::Mat fine = picture, weight = mask;
  for (int band = 0; band < kBands; ++band) {
    cv::Mat coarse, expanded, coarse_weight;
    cv::pyrDown(fine, coarse);
    cv::pyrUp(coarse, expanded, fine.size());
    cv::pyrDown(weight, coarse_weight);
    add_weighted_by(bands_[band](halved(where, band)), fine - expanded, weight);
    fine = coarse;
    weight = coarse_weight;
  }
  add_weighted_by(bands_[kBands](halved(where, kBands)), fine, weight);
}

cv::Mat BandBlend::result() const {
  cv::Mat picture = bands_.back();
  for (int band = kBands - 1; band >= 0; --band) {
    cv::Mat expanded;
    cv::pyrUp(picture, expanded, bands_[band].size());
    picture = expanded + bands_[band];
  }
  return picture;
}

}  // namespace lookdown::mosaic
