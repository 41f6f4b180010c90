#include "stages/glare/glitter_field.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/plane_math.h"
#include "stages/glare/sun_from_glint.h"

namespace lookdown::glare {
namespace {

constexpr int kCellPx = 16;
constexpr int kShorePx = 12;
constexpr float kSureWater = 0.5f;

// As a camera of 28 to 35 mm (35 mm equivalent) that looks straight down sees the picture.
Eigen::Vector3d nominal_to_viewer(double x_px, double y_px, cv::Size size) {
  const double focal_px = 0.85 * std::max(size.width, size.height);
  return Eigen::Vector3d(-(x_px - 0.5 * size.width) / focal_px, (y_px - 0.5 * size.height) / focal_px, 1)
      .normalized();
}

std::vector<GlintSample> samples_of(const cv::Mat& specks, const cv::Mat& water) {
  std::vector<GlintSample> samples;
  for (int top = 0; top + kCellPx <= specks.rows; top += kCellPx)
    for (int left = 0; left + kCellPx <= specks.cols; left += kCellPx) {
      const cv::Rect cell(left, top, kCellPx, kCellPx);
      const int wet = cv::countNonZero(water(cell));
      if (wet < kCellPx * kCellPx / 2) continue;
      samples.push_back({nominal_to_viewer(left + 0.5 * kCellPx, top + 0.5 * kCellPx, specks.size()),
                         static_cast<double>(cv::countNonZero(specks(cell))) / wet, 1});
    }
  return samples;
}

// Crust, stones and foam line the shores: only the midst of the water tells.
cv::Mat midst_of(const cv::Mat& water) {
  cv::Mat wet = water > kSureWater;
  cv::erode(wet, wet, cv::getStructuringElement(cv::MORPH_RECT, {2 * kShorePx + 1, 2 * kShorePx + 1}));
  return wet;
}

// Odds by the facets' density about one mirror point, when that explains the specks.
std::optional<GlintPrior> mirror_point_field(const cv::Mat& specks, const cv::Mat& inner) {
  SkySearch coarse;
  coarse.step_deg = 8;
  coarse.direction_step = 0.04;
  const auto sun = sun_from_glint(samples_of(specks, inner), coarse);
  if (!sun) return std::nullopt;

  constexpr int kColumns = 64;
  const int rows = std::max(1, kColumns * specks.rows / std::max(1, specks.cols));
  GlintPrior prior{cv::Mat(rows, kColumns, CV_32FC1)};
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < kColumns; ++column)
      prior.odds.at<float>(row, column) = static_cast<float>(sun->odds(nominal_to_viewer(
          (column + 0.5) * specks.cols / kColumns, (row + 0.5) * specks.rows / rows, specks.size())));
  return prior;
}

// Rails, ropes and the frames of boat lifts are thin too, but hang together.
cv::Mat without_long_ones(cv::Mat specks) {
  constexpr int kLongestPx = 24;
  cv::Mat labels, stats, centroids;
  const int count = cv::connectedComponentsWithStats(specks, labels, stats, centroids, 8, CV_32S);
  std::vector<uchar> kept(count, 255);
  kept[0] = 0;
  for (int label = 1; label < count; ++label)
    if (std::max(stats.at<int>(label, cv::CC_STAT_WIDTH), stats.at<int>(label, cv::CC_STAT_HEIGHT)) >
        kLongestPx)
      kept[label] = 0;
  for (int y = 0; y < labels.rows; ++y)
    for (int x = 0; x < labels.cols; ++x) specks.at<uchar>(y, x) = kept[labels.at<int>(y, x)];
  return specks;
}

}  // namespace

cv::Mat enclosed_by(const cv::Mat& field, const cv::Mat& places) {
  cv::Mat labels, stats, centroids, wide;
  const int count = cv::connectedComponentsWithStats(places, labels, stats, centroids, 4, CV_32S);
  std::vector<int> rim(count, 0), field_rim(count, 0);
  cv::dilate(field, wide, cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  for (int y = 1; y + 1 < labels.rows; ++y)
    for (int x = 1; x + 1 < labels.cols; ++x) {
      const int label = labels.at<int>(y, x);
      if (label == 0 || (labels.at<int>(y, x - 1) == label && labels.at<int>(y, x + 1) == label &&
                         labels.at<int>(y - 1, x) == label && labels.at<int>(y + 1, x) == label))
        continue;
      ++rim[label];
      field_rim[label] += wide.at<uchar>(y, x) != 0;
    }
  cv::Mat inside = cv::Mat::zeros(places.size(), CV_8UC1);
  for (int y = 0; y < labels.rows; ++y)
    for (int x = 0; x < labels.cols; ++x)
      if (const int label = labels.at<int>(y, x); label > 0 && 2 * field_rim[label] > rim[label])
        inside.at<uchar>(y, x) = 255;
  return inside;
}

cv::Mat glitter_texture(const WorkingPicture& picture, double least_roughness) {
  constexpr float kClipped = 0.85f;
  const cv::Mat rough =
      blurred(cv::abs(log_of(picture.light) - log_of(picture.calm_light)), 4) > least_roughness;
  return rough | enclosed_by(rough, (picture.calm_light > kClipped) & ~rough);
}

cv::Mat strong_light(const AddedLight& added) {
  constexpr float kStrong = 1.6f;
  return odds_of_excess(added, added.colour) > kStrong;
}

cv::Mat specks_on_water(const WorkingPicture& picture, const AddedLight& added, const cv::Mat& water) {
  constexpr float kThinShare = 0.5f;
  cv::Mat without_thin;
  cv::morphologyEx(picture.light, without_thin, cv::MORPH_OPEN,
                   cv::getStructuringElement(cv::MORPH_RECT, {3, 3}));
  return without_long_ones(strong_light(added) & (without_thin < kThinShare * picture.light) &
                           (water > kSureWater));
}

cv::Mat odds_of_density(const cv::Mat& specks, const cv::Mat& water, double ordinary_share) {
  constexpr double kReachPx = 40, kSteepness = 4;
  cv::Mat bright, wet, odds;
  specks.convertTo(bright, CV_32FC1, 1 / 255.0);
  water.convertTo(wet, CV_32FC1, 1 / 255.0);
  cv::log((blurred(bright, kReachPx) / (blurred(wet, kReachPx) + 0.05) + 1e-4) / ordinary_share, odds);
  return kSteepness * odds;
}

GlintPrior glitter_field(const cv::Mat& specks, const cv::Mat& water, double ordinary_share) {
  const cv::Mat inner = midst_of(water), inner_specks = specks & inner;
  if (const auto field = mirror_point_field(inner_specks, inner)) return *field;
  return {odds_of_density(inner_specks, inner, ordinary_share)};
}

}  // namespace lookdown::glare
