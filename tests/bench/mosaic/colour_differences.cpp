#include "tests/bench/mosaic/colour_differences.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "pipeline/imaging/colour/srgb.h"

namespace lookdown::bench {
namespace {

double percentile(std::vector<double> values, double share) {
  if (values.empty()) return 0;
  const auto place = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), values.begin() + place, values.end());
  return values[static_cast<std::size_t>(place)];
}

double middle_of(const std::vector<double>& values) {
  return percentile(values, 0.5);
}

cv::Vec3d lab_of(const cv::Vec3d& bgr) {
  const cv::Mat in(1, 1, CV_32FC3,
                   cv::Scalar(std::clamp(bgr[0] / 255, 0.0, 1.0), std::clamp(bgr[1] / 255, 0.0, 1.0),
                              std::clamp(bgr[2] / 255, 0.0, 1.0)));
  cv::Mat out;
  cv::cvtColor(in, out, cv::COLOR_BGR2Lab);
  return out.at<cv::Vec3f>(0);
}

/// Mean colours of blocks, code values of 8 bits.
struct Blocks {
  std::vector<cv::Vec3d> found, given;
};

Blocks known_blocks(const cv::Mat& mosaic, const cv::Mat& truth, const cv::Mat& known, int block_px) {
  const cv::Size small(mosaic.cols / block_px, mosaic.rows / block_px);
  const cv::Rect whole(0, 0, small.width * block_px, small.height * block_px);
  cv::Mat shown, wanted, share;
  cv::resize(mosaic(whole), shown, small, 0, 0, cv::INTER_AREA);
  cv::resize(truth(whole), wanted, small, 0, 0, cv::INTER_AREA);
  cv::resize(known(whole), share, small, 0, 0, cv::INTER_AREA);
  const int stride = std::max(1, 12 / block_px);  // a block in twelve pixels tells enough
  Blocks blocks;
  for (int row = 0; row < small.height; row += stride)
    for (int column = 0; column < small.width; column += stride)
      if (share.at<uchar>(row, column) == 255) {
        blocks.found.emplace_back(shown.at<cv::Vec3b>(row, column));
        blocks.given.emplace_back(wanted.at<cv::Vec3b>(row, column));
      }
  return blocks;
}

std::vector<double> differences(const std::vector<cv::Vec3d>& found, const std::vector<cv::Vec3d>& given) {
  std::vector<double> apart;
  apart.reserve(found.size());
  for (std::size_t i = 0; i < found.size(); ++i)
    apart.push_back(ciede2000(lab_of(found[i]), lab_of(given[i])));
  return apart;
}

/// The affine map of code values that brings what was found closest to what is given, applied.
std::vector<cv::Vec3d> fitted(const Blocks& blocks) {
  cv::Mat design(static_cast<int>(blocks.found.size()), 4, CV_64F), target(design.rows, 3, CV_64F), fit;
  for (int i = 0; i < design.rows; ++i) {
    for (int k = 0; k < 3; ++k) {
      design.at<double>(i, k) = blocks.found[static_cast<std::size_t>(i)][k];
      target.at<double>(i, k) = blocks.given[static_cast<std::size_t>(i)][k];
    }
    design.at<double>(i, 3) = 1;
  }
  cv::solve(design, target, fit, cv::DECOMP_NORMAL | cv::DECOMP_CHOLESKY);
  const cv::Mat brought = design * fit;
  return {brought.ptr<cv::Vec3d>(), brought.ptr<cv::Vec3d>() + brought.rows};
}

/// Median factor between the light given and found in a channel.
double exposure_of(const Blocks& blocks, int channel) {
  std::vector<double> ratios;
  for (std::size_t i = 0; i < blocks.found.size(); ++i)
    if (blocks.found[i][channel] > 1)
      ratios.push_back(light_from_srgb(blocks.given[i][channel] / 255) /
                       light_from_srgb(blocks.found[i][channel] / 255));
  return middle_of(ratios);
}

std::vector<cv::Vec3d> exposed(std::vector<cv::Vec3d> colours, const cv::Vec3d& factors) {
  for (cv::Vec3d& colour : colours)
    for (int k = 0; k < 3; ++k)
      colour[k] = 255 * srgb_from_light(std::min(1.0, factors[k] * light_from_srgb(colour[k] / 255)));
  return colours;
}

}  // namespace

Colour colour_differences(const cv::Mat& mosaic, const cv::Mat& truth, const cv::Mat& known, int block_px) {
  const Blocks blocks = known_blocks(mosaic, truth, known, block_px);
  const std::vector<double> after_fit = differences(fitted(blocks), blocks.given);
  const cv::Vec3d balance{exposure_of(blocks, 0), exposure_of(blocks, 1), exposure_of(blocks, 2)};
  const auto left_by = [&](const cv::Vec3d& factors) {
    return middle_of(differences(exposed(blocks.found, factors), blocks.given));
  };
  return {middle_of(after_fit), percentile(after_fit, 0.95),
          middle_of(differences(blocks.found, blocks.given)), left_by(cv::Vec3d::all(balance[1])),
          left_by(balance)};
}

}  // namespace lookdown::bench
