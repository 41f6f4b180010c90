#include "stages/surface/steps/side_likeness.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/surface/matching/view_likeness.h"

namespace lookdown::surface {
namespace {

constexpr float kNotShown = -1;
constexpr float kMostApart = 24;    ///< code values: what differs by more differs
constexpr float kGrain = 4;         ///< code values by which what is alike may differ
constexpr float kMisplaced = 0.5F;  ///< pixels by which two views may be laid wrongly over one another
constexpr int kLightStride = 4, kLightSide = 15;  ///< light is compared at each fourth node, over so many
constexpr int kWayNodes = 9;                      ///< over which the way off a step is smoothed
/// With as many views more, likeness counts in full: two may fit by chance.
constexpr float kManyMore = 3;

/// Mean over the pairs of what is shown, of the difference that neither grain nor half a pixel of
/// misplacement explains, cut at kMostApart; kNotShown for fewer than two.
float pairs_apart(const std::vector<Shown>& shown, std::size_t count) {
  if (count < 2) return kNotShown;
  float sum = 0;
  for (std::size_t i = 1; i < count; ++i)
    for (std::size_t j = 0; j < i; ++j)
      sum +=
          std::clamp(std::abs(shown[i].value - shown[j].value) - shown[i].unsure - shown[j].unsure - kGrain,
                     0.F, kMostApart);
  return sum / (0.5F * float(count * (count - 1)));
}

}  // namespace

Shown SideLikeness::View::shown(int column, int row, float height) const {
  const Eigen::Vector3f q = origin + float(column) * right + float(row) * down + height * up;
  if (!(q.z() > 0)) return {};
  const float x = q.x() / q.z(), y = q.y() / q.z();
  if (!(x >= 0 && y >= 0 && x < float(picture->cols - 1) && y < float(picture->rows - 1))) return {};
  const int c = int(x), r = int(y);
  const std::uint8_t *above = picture->ptr(r) + c, *below = picture->ptr(r + 1) + c;
  if (above[0] == 0 || above[1] == 0 || below[0] == 0 || below[1] == 0) return {};
  const float a = x - float(c), b = y - float(r);
  const auto [least, most] = std::minmax({above[0], above[1], below[0], below[1]});
  return {(float(above[0]) * (1 - a) + float(above[1]) * a) * (1 - b) +
              (float(below[0]) * (1 - a) + float(below[1]) * a) * b,
          0.5F * kMisplaced * float(most - least)};
}

SideLikeness::SideLikeness(const NodeGrid& grid, const cv::Rect& nodes,
                           const std::vector<const SweepView*>& views,
                           const std::vector<SweepPictures::Picture>& pictures, const cv::Mat& heights) {
  const Eigen::Vector3d corner = grid.ground_from_node * Eigen::Vector3d(nodes.x, nodes.y, 1),
                        middle = grid.ground_from_node * Eigen::Vector3d(nodes.x + 0.5 * nodes.width,
                                                                         nodes.y + 0.5 * nodes.height, 1);
  const double usual = cv::mean(heights)[0];
  for (std::size_t i = 0; i < views.size(); ++i) {
    const SweepView& view = *views[i];
    const Eigen::Matrix3d from_node = view.picture_from_world * grid.ground_from_node;
    const Eigen::Vector3d ray = view.centre - Eigen::Vector3d(middle.x(), middle.y(), usual);
    const Eigen::Matrix2d along_nodes = grid.ground_from_node.topLeftCorner<2, 2>().transpose() / grid.pitch;
    views_.push_back(
        {pictures[i],
         (view.picture_from_world * (Eigen::Vector3d(corner.x(), corner.y(), 0) - view.centre)).cast<float>(),
         from_node.col(0).cast<float>(),
         from_node.col(1).cast<float>(),
         view.picture_from_world.col(2).cast<float>(),
         (along_nodes * ray.head<2>() / ray.z()).cast<float>(),
         view.fills,
         {}});
  }
  std::stable_partition(views_.begin(), views_.end(), [](const View& view) { return !view.fills; });
  compare_light(heights);
}

void SideLikeness::compare_light(const cv::Mat& heights) {
  const cv::Size size((heights.cols + kLightStride - 1) / kLightStride,
                      (heights.rows + kLightStride - 1) / kLightStride);
  std::vector<cv::Mat> looks;
  cv::Mat sum = cv::Mat::zeros(size, CV_32FC1), count = sum.clone();
  for (const View& view : views_) {
    cv::Mat look(size, CV_32FC1);
    for (int row = 0; row < size.height; ++row)
      for (int column = 0; column < size.width; ++column) {
        const cv::Point node(column * kLightStride, row * kLightStride);
        look.at<float>(row, column) =
            std::max(0.F, view.shown(node.x, node.y, heights.at<float>(node)).value);
      }
    sum += look;
    cv::add(count, 1, count, look > 0);
    looks.push_back(look);
  }
  sum /= cv::max(count, 1);
  for (std::size_t i = 0; i < views_.size(); ++i) {
    // All the light that the view shows, by all that the views show of the same places.
    cv::Mat& own = looks[i];
    cv::Mat usual;
    sum.copyTo(usual, own > 0);
    for (cv::Mat* light : {&own, &usual})
      cv::blur(*light, *light, {kLightSide, kLightSide}, {-1, -1}, cv::BORDER_REPLICATE);
    views_[i].gain = (usual + 1) / (own + 1);
  }
}

cv::Mat SideLikeness::look(const cv::Mat& heights, const cv::Mat& where) const {
  cv::Mat grey = cv::Mat::zeros(heights.size(), CV_8UC1);
  for (int row = 0; row < grey.rows; ++row)
    for (int column = 0; column < grey.cols; ++column) {
      if (!where.at<uchar>(row, column)) continue;
      float sum = 0;
      int count = 0;
      for (const View& view : views_) {
        if (view.fills && count >= kViewsEnough) break;
        if (const float value = view.shown(column, row, heights.at<float>(row, column)).value; value > 0)
          sum += value * view.gain.at<float>(row / kLightStride, column / kLightStride), ++count;
      }
      if (count > 0) grey.at<uchar>(row, column) = uchar(std::clamp(sum / float(count) + 0.5F, 1.F, 255.F));
    }
  return grey;
}

cv::Mat SideLikeness::at(const cv::Mat& upper, const cv::Mat& lower, const cv::Mat& heights,
                         const cv::Mat& where) const {
  cv::Mat smooth, across, down, likeness = cv::Mat::zeros(heights.size(), CV_32FC1);
  cv::blur(heights, smooth, {kWayNodes, kWayNodes}, {-1, -1}, cv::BORDER_REPLICATE);
  cv::Sobel(smooth, across, CV_32F, 1, 0);
  cv::Sobel(smooth, down, CV_32F, 0, 1);
  std::vector<Shown> high, low;
  for (int row = 0; row < heights.rows; ++row)
    for (int column = 0; column < heights.cols; ++column) {
      if (!where.at<uchar>(row, column)) continue;
      high.clear(), low.clear();
      // Away from the step, in the directions of columns and rows.
      const float way_right = -across.at<float>(row, column), way_down = -down.at<float>(row, column);
      for (const View& view : views_) {
        const float gain = view.gain.at<float>(row / kLightStride, column / kLightStride);
        const auto add = [&](float height, std::vector<Shown>& to) {
          Shown shown = view.shown(column, row, height);
          if (shown.value < 0) return;
          shown.value *= gain;
          shown.from_over_there = view.slant.x() * way_right + view.slant.y() * way_down;
          to.push_back(shown);
        };
        if (view.fills && int(high.size()) >= kViewsEnough) break;
        add(upper.at<float>(row, column), high);
        add(lower.at<float>(row, column), low);
      }
      std::sort(low.begin(), low.end(),
                [](const Shown& a, const Shown& b) { return a.from_over_there > b.from_over_there; });
      const std::size_t half = std::min(low.size(), std::max<std::size_t>(2, (low.size() + 1) / 2));
      const float upper_apart = pairs_apart(high, high.size()), lower_apart = pairs_apart(low, half);
      if (upper_apart < 0 || lower_apart < 0) continue;
      likeness.at<float>(row, column) =
          std::min(1.F, float(high.size() - 1) / kManyMore) * (lower_apart - upper_apart);
    }
  return likeness;
}

}  // namespace lookdown::surface
