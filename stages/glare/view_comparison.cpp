#include "stages/glare/view_comparison.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/boosted_trees.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/plane_math.h"

namespace lookdown::glare {
namespace {

// Ratio of brightness between two views of the same ground, from pixels that neither view calls water: land does not shine.
double gain_between(const cv::Mat& own_light, const cv::Mat& other_light, const cv::Mat& own_water, const OverlaidView& other) {
  std::vector<float> on_land, anywhere;
  for (int y = 2; y < own_light.rows; y += 6)
    for (int x = 2; x < own_light.cols; x += 6) {
      if (!other.seen.at<uchar>(y, x)) continue;
      const float a = own_light.at<float>(y, x), b = other_light.at<float>(y, x);
      if (a < 0.01f || b < 0.01f || a > 0.9f || b > 0.9f) continue;
      const float ratio = std::log(a / b);
      anywhere.push_back(ratio);
      if (own_water.at<uchar>(y, x) < 80 && other.water.at<uchar>(y, x) < 80) on_land.push_back(ratio);
    }
  std::vector<float>& sample = on_land.size() > 300 ? on_land : anywhere;
  if (sample.size() < 50) return 1;
  std::nth_element(sample.begin(), sample.begin() + sample.size() / 2, sample.end());
  return std::exp(std::clamp(sample[sample.size() / 2], -1.5f, 1.5f));
}

float saturation_of(const cv::Vec3b& v) {
  const int most = std::max({v[0], v[1], v[2]}), least = std::min({v[0], v[1], v[2]});
  return static_cast<float>(most - least) / (static_cast<float>(most) + 8.0f);
}

float logit(float chance) {
  const float p = std::clamp(chance, 0.01f, 0.99f);
  return std::log(p / (1 - p));
}

std::vector<cv::Point2f> outline_on_mosaic(const PlacedCamera& frame, bool& usable) {
  std::vector<cv::Point2f> outline;
  const double right = frame.camera.width_px - 1, bottom = frame.camera.height_px - 1;
  const Point2<StoredPx> corners[] = {{0, 0}, {right, 0}, {right, bottom}, {0, bottom}};
  const double side = frame.mosaic_from_frame.depth({frame.camera.cx_px, frame.camera.cy_px});
  for (const auto& corner : corners) {
    const Point2<UndistortedPx> p = frame.camera.undistort(corner);
    usable = usable && frame.mosaic_from_frame.depth(p) * side > 0;
    const Point2<MosaicPx> q = frame.mosaic_from_frame * p;
    outline.emplace_back(static_cast<float>(q.x), static_cast<float>(q.y));
  }
  usable = usable && cv::isContourConvex(outline);
  return outline;
}

// Glare moves, crust stays: what at least two other views show as bright as this one, and well above the middle of the frame, is seldom
// glare (255).
cv::Mat bright_in_all(const FeaturePlanes& features, const cv::Mat& views) {
  const cv::Mat &over_low = features.planes[1], &low = features.planes[4];
  return (over_low < 0.2f) & (low > 0.7f) & (views >= 2);
}

}  // namespace

SearchedFrame searched_frame(const cv::Mat& bgr, const GlintPrior& prior) {
  const WorkingPicture picture = prepare(bgr);
  const SearchResult found = search_picture(picture.bgr, prior);
  SearchedFrame searched;
  searched.bgr = picture.bgr;
  found.water.convertTo(searched.water, CV_8UC1, 255);
  found.glare.convertTo(searched.glare, CV_8UC1, 255);
  return searched;
}

OverlaidView overlay(const SearchedFrame& other, const PlacedCamera& other_place, const PlacedCamera& own_place, cv::Size own_size) {
  // The map is smooth: it is computed on a coarse grid and stretched.
  constexpr int kStep = 8;
  const int columns = own_size.width / kStep + 2, rows = own_size.height / kStep + 2;
  const double own_scale = static_cast<double>(own_place.camera.width_px) / own_size.width;
  const double other_scale = static_cast<double>(other_place.camera.width_px) / other.bgr.cols;
  const Homography<UndistortedPx, MosaicPx> frame_from_mosaic = other_place.mosaic_from_frame.inverse();
  const double reach = 1.5 * std::hypot(other_place.camera.width_px, other_place.camera.height_px);
  cv::Mat grid(rows, columns, CV_32FC2);
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const Point2<StoredPx> stored{(column * kStep + 0.5) * own_scale - 0.5, (row * kStep + 0.5) * own_scale - 0.5};
      const Point2<MosaicPx> on_mosaic = own_place.mosaic_from_frame * own_place.camera.undistort(stored);
      const Point2<UndistortedPx> undistorted = frame_from_mosaic * on_mosaic;
      Point2<StoredPx> there{-1e4, -1e4};
      // Far outside the frame the distortion polynomial folds back; such points count as not seen.
      if (std::hypot(undistorted.x - other_place.camera.cx_px, undistorted.y - other_place.camera.cy_px) < reach)
        there = other_place.camera.distort(undistorted);
      grid.at<cv::Vec2f>(row, column) = {static_cast<float>((there.x + 0.5) / other_scale - 0.5),
                                         static_cast<float>((there.y + 0.5) / other_scale - 0.5)};
    }
  cv::Mat stretched, map;
  const cv::Matx23f pick(1.0f / kStep, 0, 0, 0, 1.0f / kStep, 0);
  cv::warpAffine(grid, map, pick, own_size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_REPLICATE);

  OverlaidView view;
  const cv::Mat inside(other.bgr.size(), CV_8UC1, cv::Scalar(255));
  cv::remap(other.bgr, view.bgr, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(other.water, view.water, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(other.glare, view.glare, map, {}, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(inside, view.seen, map, {}, cv::INTER_NEAREST, cv::BORDER_CONSTANT);
  return view;
}

FeaturePlanes view_features(const SearchedFrame& own, const std::vector<OverlaidView>& others, cv::Mat& water, cv::Mat& views) {
  const cv::Mat own_light = light_of(own.bgr);
  std::vector<cv::Mat> lights;
  for (const OverlaidView& other : others) {
    const cv::Mat light = light_of(other.bgr);
    cv::Mat spread;
    // A view that lies a pixel off must not make the edge of a bright thing look like glare: it counts with its brightest neighbour.
    cv::dilate(light * gain_between(own_light, light, own.water, other), spread, {});
    lights.push_back(spread);
  }
  const cv::Size size = own.bgr.size();
  cv::Mat over_low(size, CV_32FC1), over_median(size, CV_32FC1), over_least(size, CV_32FC1), low(size, CV_32FC1),
      others_glare(size, CV_32FC1), single(size, CV_32FC1), pale(size, CV_32FC1), paler(size, CV_32FC1), count(size, CV_32FC1);
  water.create(size, CV_32FC1);
  views.create(size, CV_8UC1);
  std::vector<std::pair<float, float>> seen;  // light and saturation of the other views
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x) {
      seen.clear();
      float sum_water = own.water.at<uchar>(y, x) / 255.0f, sum_glare = 0;
      for (std::size_t i = 0; i < others.size(); ++i) {
        if (!others[i].seen.at<uchar>(y, x)) continue;
        seen.emplace_back(lights[i].at<float>(y, x) + 0.004f, saturation_of(others[i].bgr.at<cv::Vec3b>(y, x)));
        sum_water += others[i].water.at<uchar>(y, x) / 255.0f;
        sum_glare += others[i].glare.at<uchar>(y, x) / 255.0f;
      }
      std::sort(seen.begin(), seen.end());
      const auto n = static_cast<float>(seen.size());
      const float mine = own_light.at<float>(y, x) + 0.004f;
      pale.at<float>(y, x) = saturation_of(own.bgr.at<cv::Vec3b>(y, x));
      if (seen.empty()) seen.emplace_back(mine, pale.at<float>(y, x));
      const auto& [base, base_saturation] = seen[(seen.size() - 1) * 3 / 10];
      paler.at<float>(y, x) = base_saturation - pale.at<float>(y, x);
      over_low.at<float>(y, x) = std::log(mine / base);
      over_median.at<float>(y, x) = std::log(mine / seen[seen.size() / 2].first);
      over_least.at<float>(y, x) = std::log(mine / seen.front().first);
      low.at<float>(y, x) = std::log(base);
      others_glare.at<float>(y, x) = n > 0 ? sum_glare / n : 0;
      single.at<float>(y, x) = logit(own.glare.at<uchar>(y, x) / 255.0f);
      count.at<float>(y, x) = n;
      water.at<float>(y, x) = sum_water / (n + 1);
      views.at<uchar>(y, x) = static_cast<uchar>(n);
    }
  const double middle = quantile_of(log_of(own_light), 0.5);
  FeaturePlanes features;
  features.planes = {single,       over_low, over_median,          over_least,          cv::Mat(low - middle), others_glare,
                     water, pale,  blurred(over_low, 4), blurred(single, 8), cv::Mat(log_of(own_light) - middle)};
  features.planes.push_back(cv::min(count, 8));
  features.planes.push_back(paler);
  features.planes.push_back(blurred(over_low, 14));
  features.planes.push_back(blurred(others_glare, 14));
  return features;
}

ComparedFrame compare_views(const SearchedFrame& own, const std::vector<OverlaidView>& others) {
  ComparedFrame compared;
  const FeaturePlanes features = view_features(own, others, compared.water, compared.views);
  cv::Mat odds = log_odds(view_model(), features);
  cv::subtract(odds, 1.0, odds, bright_in_all(features, compared.views));
  compared.glare = chance_of(odds);
  compared.glare.setTo(0, compared.water < kLeastWaterChance);
  // A roof stands off the plane and lies over its shade of another view, which is easily taken for water. What the frame itself sees as
  // land is glare only where the views agree on water almost all.
  constexpr float kAgreedWater = 0.75f;
  const cv::Mat seen_as_land = own.water < static_cast<int>(255 * kLeastWaterChance);
  compared.glare.setTo(0, seen_as_land & (compared.water < kAgreedWater));
  cv::Mat single;
  own.glare.convertTo(single, CV_32FC1, 1 / 255.0);
  single.copyTo(compared.glare, compared.views == 0);
  return compared;
}

double covered_share(const PlacedCamera& a, const PlacedCamera& b) {
  bool usable = true;
  const auto outline_a = outline_on_mosaic(a, usable), outline_b = outline_on_mosaic(b, usable);
  if (!usable) return 0;
  std::vector<cv::Point2f> common;
  const double area = cv::contourArea(outline_a);
  return area > 0 ? cv::intersectConvexConvex(outline_a, outline_b, common) / area : 0;
}

std::vector<std::vector<int>> choose_views(const std::vector<PlacedCamera>& frames, int most) {
  std::vector<std::vector<int>> chosen(frames.size());
  for (std::size_t i = 0; i < frames.size(); ++i) {
    std::vector<std::pair<double, int>> worth;
    for (std::size_t j = 0; j < frames.size(); ++j) {
      if (i == j) continue;
      const double share = covered_share(frames[i], frames[j]);
      // A near-repeat sees the same glare at the same place; half the frame in common tells most.
      if (share > 0.05) worth.emplace_back(share > 0.9 ? share - 0.6 : share, static_cast<int>(j));
    }
    std::sort(worth.begin(), worth.end(), [](const auto& a, const auto& b) {
      return a.first != b.first ? a.first > b.first : a.second < b.second;
    });
    for (std::size_t k = 0; k < worth.size() && k < static_cast<std::size_t>(most); ++k) chosen[i].push_back(worth[k].second);
  }
  return chosen;
}

}  // namespace lookdown::glare
