#include "least_work.h"

#include <tbb/global_control.h>
#include <tbb/parallel_for.h>

#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace lookdown::bench {
namespace {

constexpr double kFeaturePixels = 1.5e6;

void find_features(const cv::Mat& frame) {
  cv::Mat grey, small;
  cv::cvtColor(frame, grey, cv::COLOR_BGR2GRAY);
  const double scale = std::min(1.0, std::sqrt(kFeaturePixels / static_cast<double>(grey.total())));
  cv::resize(grey, small, {}, scale, scale, cv::INTER_AREA);
  std::vector<cv::KeyPoint> points;
  cv::Mat descriptors;
  cv::SIFT::create()->detectAndCompute(small, cv::noArray(), points, descriptors);
}

void warp_and_encode(const cv::Mat& frame) {
  const cv::Mat turn =
      cv::getRotationMatrix2D({static_cast<float>(frame.cols) / 2, static_cast<float>(frame.rows) / 2}, 7, 1);
  cv::Mat warped;
  cv::warpAffine(frame, warped, turn, frame.size(), cv::INTER_LANCZOS4);
  std::vector<std::uint8_t> bytes;
  cv::imencode(".png", warped, bytes, {cv::IMWRITE_PNG_COMPRESSION, 1});
}

}  // namespace

int least_work(const std::vector<std::filesystem::path>& frames, int threads) {
  cv::setNumThreads(1);  // frames are what runs in parallel
  const tbb::global_control limit(tbb::global_control::max_allowed_parallelism,
                                  static_cast<std::size_t>(threads));
  tbb::parallel_for(std::size_t{0}, frames.size(), [&](std::size_t i) {
    const cv::Mat frame = cv::imread(frames[i].string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    if (frame.empty()) return;
    find_features(frame);
    warp_and_encode(frame);
  });
  return 0;
}

}  // namespace lookdown::bench
