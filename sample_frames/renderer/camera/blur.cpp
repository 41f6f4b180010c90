#include "camera/blur.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace render {
namespace {

// Keys' cubic (a = -1/2): interpolation that keeps more of the fine detail than bilinear does.
void cubic_weights(double t, double w[4]) {
  w[0] = ((-0.5 * t + 1) * t - 0.5) * t;
  w[1] = (1.5 * t - 2.5) * t * t + 1;
  w[2] = ((-1.5 * t + 2) * t + 0.5) * t;
  w[3] = (0.5 * t - 0.5) * t * t;
}

void splat(cv::Mat& kernel, double x, double y, double weight) {
  const int ix = static_cast<int>(std::floor(x)), iy = static_cast<int>(std::floor(y));
  double wx[4], wy[4];
  cubic_weights(x - ix, wx);
  cubic_weights(y - iy, wy);
  for (int j = 0; j < 4; ++j)
    for (int i = 0; i < 4; ++i) {
      const int column = ix - 1 + i, row = iy - 1 + j;
      if (column >= 0 && row >= 0 && column < kernel.cols && row < kernel.rows)
        kernel.at<float>(row, column) += static_cast<float>(weight * wx[i] * wy[j]);
    }
}

// The straight path of a point during the exposure, sampled four times a pixel.
cv::Mat line_kernel(Vec2 motion) {
  const double reach = length(motion);
  const int radius = static_cast<int>(std::ceil(reach / 2)) + 2;
  cv::Mat kernel(2 * radius + 1, 2 * radius + 1, CV_32F, cv::Scalar(0));
  const int steps = std::max(1, static_cast<int>(std::ceil(reach * 4)));
  for (int i = 0; i < steps; ++i) {
    const double t = (i + 0.5) / steps - 0.5;
    splat(kernel, radius + t * motion.x, radius + t * motion.y, 1.0 / steps);
  }
  return kernel;
}

cv::Mat disc_kernel(double radius_px) {
  const int radius = static_cast<int>(std::ceil(radius_px)) + 1;
  cv::Mat kernel(2 * radius + 1, 2 * radius + 1, CV_32F, cv::Scalar(0));
  constexpr int kFine = 8;
  for (int y = 0; y < kernel.rows; ++y)
    for (int x = 0; x < kernel.cols; ++x)
      for (int j = 0; j < kFine; ++j)
        for (int i = 0; i < kFine; ++i) {
          const double dx = x - radius + (i + 0.5) / kFine - 0.5, dy = y - radius + (j + 0.5) / kFine - 0.5;
          if (dx * dx + dy * dy <= radius_px * radius_px) kernel.at<float>(y, x) += 1;
        }
  return kernel / cv::sum(kernel)[0];
}

// Smear that varies over the frame: kernels on a coarse lattice, blended between its nodes.
cv::Mat turning_smear(const cv::Mat& picture, const FrameBlur& blur) {
  constexpr int kNodes = 7;
  const Vec2 centre{(picture.cols - 1) / 2.0, (picture.rows - 1) / 2.0};
  const double half_diagonal = length(centre);
  cv::Mat sum(picture.size(), picture.type(), cv::Scalar::all(0));
  const double step_x = (picture.cols - 1.0) / (kNodes - 1), step_y = (picture.rows - 1.0) / (kNodes - 1);
  for (int j = 0; j < kNodes; ++j)
    for (int i = 0; i < kNodes; ++i) {
      const Vec2 node{i * step_x, j * step_y};
      const Vec2 motion = blur.motion_at(node - centre, half_diagonal);
      cv::Rect area(static_cast<int>(node.x - step_x) - 1, static_cast<int>(node.y - step_y) - 1,
                    static_cast<int>(2 * step_x) + 3, static_cast<int>(2 * step_y) + 3);
      area &= cv::Rect(0, 0, picture.cols, picture.rows);
      cv::Mat part;
      // The kernel sees pixels beyond the area: filter2D on a region reads its surroundings.
      cv::filter2D(picture(area), part, -1, line_kernel(motion), {-1, -1}, 0, cv::BORDER_REPLICATE);
      const int channels = picture.channels();
      tbb::parallel_for(0, area.height, [&](int y) {
        const auto wy = static_cast<float>(std::max(0.0, 1 - std::abs(area.y + y - node.y) / step_y));
        const float* from = part.ptr<float>(y);
        float* to = sum.ptr<float>(area.y + y) + size_t(area.x) * channels;
        for (int x = 0; x < area.width; ++x) {
          const float w = wy * static_cast<float>(std::max(0.0, 1 - std::abs(area.x + x - node.x) / step_x));
          for (int c = 0; c < channels; ++c) to[x * channels + c] += w * from[x * channels + c];
        }
      });
    }
  return sum;
}

}  // namespace

cv::Mat centre_kernel(const FrameBlur& blur) {
  if (blur.kind == BlurKind::smear) return line_kernel(blur.motion_at({0, 0}, 1));
  if (blur.kind == BlurKind::defocus) return disc_kernel(blur.radius_px);
  return cv::Mat::ones(1, 1, CV_32F);
}

cv::Mat blurred(const cv::Mat& picture, const FrameBlur& blur) {
  if (blur.kind == BlurKind::none) return picture;
  cv::Mat result;
  if (blur.kind == BlurKind::smear && blur.spin_px != 0)
    result = turning_smear(picture, blur);
  else
    cv::filter2D(picture, result, -1, centre_kernel(blur), {-1, -1}, 0, cv::BORDER_REPLICATE);
  if (!blur.one_half) return result;
  const int band = picture.rows / 10, start = picture.rows / 2 - band / 2;
  for (int y = 0; y < start + band; ++y) {
    const double share = std::clamp((y - start) / static_cast<double>(band), 0.0, 1.0);
    result.row(y) = result.row(y) * share + picture.row(y) * (1 - share);
  }
  return result;
}

}  // namespace render
