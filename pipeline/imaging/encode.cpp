#include "pipeline/imaging/encode.h"

#include <fmt/core.h>

#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>

namespace lookdown {
namespace {

std::vector<std::uint8_t> encoded(const std::string& ending, const cv::Mat& picture,
                                  const std::vector<int>& parameters) {
  std::vector<std::uint8_t> bytes;
  bool done = false;
  std::string why;
  try {
    done = !picture.empty() && cv::imencode(ending, picture, bytes, parameters);
  } catch (const cv::Exception& error) {
    why = ": " + error.err;
  }
  if (!done || bytes.empty())
    throw std::runtime_error(fmt::format("a picture of {} x {} pixels could not be encoded as {}{}",
                                         picture.cols, picture.rows, ending, why));
  return bytes;
}

}  // namespace

std::vector<std::uint8_t> encode_png(const cv::Mat& picture, PngEffort effort) {
  if (effort == PngEffort::small) return encoded(".png", picture, {cv::IMWRITE_PNG_COMPRESSION, 9});
  return encoded(".png", picture,
                 {cv::IMWRITE_PNG_COMPRESSION, 1, cv::IMWRITE_PNG_STRATEGY, cv::IMWRITE_PNG_STRATEGY_RLE});
}

std::vector<std::uint8_t> encode_jpeg(const cv::Mat& picture, int quality, bool optimised) {
  return encoded(".jpg", picture,
                 {cv::IMWRITE_JPEG_QUALITY, quality, cv::IMWRITE_JPEG_OPTIMIZE, optimised ? 1 : 0});
}

std::vector<std::uint8_t> encode_picture(const std::string& ending, const cv::Mat& picture, int quality) {
  return encoded(ending, picture, {cv::IMWRITE_JPEG_QUALITY, quality});
}

}  // namespace lookdown
