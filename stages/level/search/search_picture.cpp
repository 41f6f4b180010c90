#include "stages/level/search/search_picture.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "pipeline/imaging/colour/cie_lab.h"

namespace lookdown::level {
namespace {

/// Texture is measured at one scale for all frames, so that a 24-megapixel frame and a small one compare.
constexpr int kTextureLongSide = 800;

/// log of the mean amplitude of what a small Gaussian takes away, averaged down to `size`.
cv::Mat1f fine_texture(const cv::Mat& bgr, const cv::Size& size) {
  cv::Mat grey;
  cv::cvtColor(bgr, grey, cv::COLOR_BGR2GRAY);
  const double shrink = static_cast<double>(kTextureLongSide) / std::max(grey.cols, grey.rows);
  if (shrink < 1) cv::resize(grey, grey, {}, shrink, shrink, cv::INTER_AREA);
  cv::Mat1f fine, smooth, texture;
  grey.convertTo(fine, CV_32F);
  cv::GaussianBlur(fine, smooth, {}, 1.2);
  fine = cv::abs(fine - smooth);
  cv::resize(fine, texture, size, 0, 0, cv::INTER_AREA);
  cv::blur(texture, texture, {3, 3});
  cv::log(texture + 0.15F, texture);
  return texture;
}

/// Where each small undistorted pixel lies in the small distorted picture.
void undistortion_maps(const Camera& small, cv::Mat1f& map_x, cv::Mat1f& map_y, cv::Mat1b& valid) {
  const double reach = small.monotonic_radius_px();
  map_x.create(valid.size());
  map_y.create(valid.size());
  for (int y = 0; y < valid.rows; ++y)
    for (int x = 0; x < valid.cols; ++x) {
      const auto seen = small.distort({static_cast<double>(x), static_cast<double>(y)});
      map_x(y, x) = static_cast<float>(seen.x);
      map_y(y, x) = static_cast<float>(seen.y);
      const bool trusted = std::hypot(x - small.cx_px, y - small.cy_px) < reach;
      const bool inside =
          seen.x > -0.5 && seen.y > -0.5 && seen.x < valid.cols - 0.5 && seen.y < valid.rows - 0.5;
      valid(y, x) = trusted && inside ? 255 : 0;
    }
}

}  // namespace

SearchPicture search_picture(const cv::Mat& bgr, const Camera& camera, int long_side_px) {
  SearchPicture picture;
  picture.scale = std::min(1.0, static_cast<double>(long_side_px) / std::max(bgr.cols, bgr.rows));
  const cv::Size size(std::max(1, cvRound(bgr.cols * picture.scale)),
                      std::max(1, cvRound(bgr.rows * picture.scale)));
  cv::Mat small;
  cv::resize(bgr, small, size, 0, 0, cv::INTER_AREA);
  cv::merge(std::vector<cv::Mat>{cie_lab(small), fine_texture(bgr, size)}, picture.channels);
  picture.valid = cv::Mat1b(size, uchar{255});
  if (camera.has_distortion()) {
    cv::Mat1f map_x, map_y;
    undistortion_maps(camera.scaled(picture.scale), map_x, map_y, picture.valid);
    cv::remap(picture.channels.clone(), picture.channels, map_x, map_y, cv::INTER_LINEAR,
              cv::BORDER_REPLICATE);
  }
  return picture;
}

}  // namespace lookdown::level
