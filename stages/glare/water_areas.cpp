#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/glare_search.h"

namespace lookdown::glare {
namespace {

cv::Mat blurred(const cv::Mat& plane, double sigma_px) {
  cv::Mat out;
  const int window = static_cast<int>(std::lround(sigma_px * 3.464)) | 1;  // a box of this width has that standard deviation
  cv::boxFilter(plane, out, -1, {window, window}, {-1, -1}, true, cv::BORDER_REFLECT);
  cv::boxFilter(out, out, -1, {window, window}, {-1, -1}, true, cv::BORDER_REFLECT);
  return out;
}

cv::Mat log_of(const cv::Mat& linear) {
  cv::Mat out = linear + 0.004;
  cv::log(out, out);
  return out;
}

double median_of(const cv::Mat& plane) {
  std::vector<float> sample;
  for (int y = 2; y < plane.rows; y += 5)
    for (int x = 2; x < plane.cols; x += 5) sample.push_back(plane.at<float>(y, x));
  if (sample.empty()) return 0;
  std::nth_element(sample.begin(), sample.begin() + sample.size() / 2, sample.end());
  return sample[sample.size() / 2];
}

// Strength of detail between two scales, as log contrast, averaged over a neighbourhood.
cv::Mat detail(const cv::Mat& fine, const cv::Mat& coarse, double over_px) {
  return blurred(cv::Mat(cv::abs(fine - coarse)), over_px);
}

}  // namespace

FeaturePlanes water_features(const WorkingPicture& picture) {
  FeaturePlanes features;
  auto& planes = features.planes;
  const cv::Mat calm = log_of(picture.calm_light);
  std::vector<cv::Mat> channel;
  cv::split(picture.calm_bgr, channel);
  for (cv::Mat& plane : channel) plane = log_of(blurred(plane, 2));

  const cv::Mat calm2 = blurred(calm, 1.2), calm4 = blurred(calm, 3), calm8 = blurred(calm, 7), calm16 = blurred(calm, 15);
  planes.push_back(calm4);                                    // brightness
  planes.push_back(calm4 - median_of(calm4));                 // against the frame
  planes.push_back(channel[2] - channel[1]);                  // red over green
  planes.push_back(channel[0] - channel[1]);                  // blue over green
  planes.push_back(log_of(detail(calm, calm2, 8)));           // texture by scale
  planes.push_back(log_of(detail(calm2, calm4, 8)));
  planes.push_back(log_of(detail(calm4, calm8, 12)));
  planes.push_back(log_of(detail(calm8, calm16, 20)));
  const cv::Mat red_green = channel[2] - channel[1], blue_green = channel[0] - channel[1];
  planes.push_back(log_of(detail(red_green, blurred(red_green, 8), 12)));    // colour varies on land
  planes.push_back(log_of(detail(blue_green, blurred(blue_green, 8), 12)));
  const cv::Mat specks = picture.light - picture.calm_light;
  planes.push_back(log_of(blurred(specks, 10)));              // glitter
  return features;
}

cv::Mat water_chance(const WorkingPicture& picture) {
  const FeaturePlanes features = water_features(picture);
  const auto& f = features.planes;
  cv::Mat chance(picture.light.size(), CV_32FC1);
  for (int y = 0; y < chance.rows; ++y)
    for (int x = 0; x < chance.cols; ++x) {
      const auto at = [&](int i) { return f[i].at<float>(y, x); };
      const float texture = 0.5f * (at(5) + at(6));
      const float green = -at(2) - std::max(0.0f, at(3));  // leaves and lawns: green well above red
      const float score = -2.5f * (texture + 3.0f) - 4.0f * std::max(0.0f, green - 0.25f) - 1.5f * std::max(0.0f, at(0) + 1.6f);
      chance.at<float>(y, x) = 1.0f / (1.0f + std::exp(-score));
    }
  return chance;
}

cv::Mat own_colour(const WorkingPicture& picture, const cv::Mat& water) {
  constexpr int kTile = 64;
  const int columns = (water.cols + kTile - 1) / kTile, rows = (water.rows + kTile - 1) / kTile;
  cv::Mat colour = cv::Mat::zeros(rows, columns, CV_32FC3), weight = cv::Mat::zeros(rows, columns, CV_32FC1);
  std::vector<std::pair<float, cv::Point>> dark;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const cv::Rect tile = cv::Rect(column * kTile, row * kTile, kTile, kTile) & cv::Rect({0, 0}, water.size());
      dark.clear();
      for (int y = tile.y; y < tile.br().y; y += 2)
        for (int x = tile.x; x < tile.br().x; x += 2)
          if (water.at<float>(y, x) > 0.5f) dark.emplace_back(picture.light.at<float>(y, x), cv::Point(x, y));
      if (dark.size() < 20) continue;
      const auto quarter = dark.begin() + dark.size() / 3;
      std::nth_element(dark.begin(), quarter, dark.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
      cv::Vec3f sum(0, 0, 0);
      for (auto it = dark.begin(); it != quarter + 1; ++it) sum += picture.linear.at<cv::Vec3f>(it->second);
      const float count = static_cast<float>(quarter + 1 - dark.begin());
      colour.at<cv::Vec3f>(row, column) = sum * (static_cast<float>(dark.size()) / count);
      weight.at<float>(row, column) = static_cast<float>(dark.size());
    }
  // Neighbouring tiles lend their colour to tiles that glare fills.
  const cv::Mat lent = colour.clone(), lent_weight = weight.clone();
  cv::GaussianBlur(lent, colour, {0, 0}, 2.0);
  cv::GaussianBlur(lent_weight, weight, {0, 0}, 2.0);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const float w = weight.at<float>(row, column);
      colour.at<cv::Vec3f>(row, column) *= w > 1e-3f ? 1.0f / w : 0.0f;
    }
  cv::Mat full;
  cv::resize(colour, full, water.size(), 0, 0, cv::INTER_LINEAR);
  return full;
}

}  // namespace lookdown::glare
