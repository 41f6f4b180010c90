#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stages/glare/boosted_trees.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/plane_math.h"

namespace lookdown::glare {
namespace {

cv::Mat channel_ratio(const cv::Mat& linear, int over, int under) {
  cv::Mat a, b;
  cv::extractChannel(linear, a, over);
  cv::extractChannel(linear, b, under);
  return log_of(blurred(a, 2)) - log_of(blurred(b, 2));
}

// How much the detail runs one way (waves, ribs, mowing) rather than all ways: 0..1, from the structure
// tensor.
cv::Mat one_way_detail(const cv::Mat& plane) {
  cv::Mat gx, gy;
  cv::Sobel(plane, gx, CV_32F, 1, 0);
  cv::Sobel(plane, gy, CV_32F, 0, 1);
  const cv::Mat xx = blurred(gx.mul(gx), 8), yy = blurred(gy.mul(gy), 8), xy = blurred(gx.mul(gy), 8);
  cv::Mat root;
  cv::sqrt((xx - yy).mul(xx - yy) + 4 * xy.mul(xy), root);
  return root / (xx + yy + 1e-6);
}

}  // namespace

FeaturePlanes water_features(const WorkingPicture& picture) {
  FeaturePlanes features;
  auto& planes = features.planes;
  const cv::Mat full_log = log_of(picture.light);
  const cv::Mat fine = halved(cv::Mat(cv::abs(full_log - blurred(full_log, 1.2))));
  const cv::Mat light = halved(picture.light), calm_light = halved(picture.calm_light),
                calm_bgr = halved(picture.calm_bgr);
  const cv::Mat calm = log_of(calm_light);
  const cv::Mat calm1 = blurred(calm, 1), calm2 = blurred(calm, 2), calm4 = blurred(calm, 4),
                calm8 = blurred(calm, 8), calm16 = blurred(calm, 16);
  const double middle = quantile_of(calm, 0.5), bright = quantile_of(calm, 0.9),
               dark = quantile_of(calm, 0.1);
  planes.push_back(calm2);  // brightness, alone and against the frame
  planes.push_back(calm4 - middle);
  planes.push_back(calm4 - bright);
  planes.push_back(calm4 - dark);

  const cv::Mat red_green = channel_ratio(calm_bgr, 2, 1), blue_green = channel_ratio(calm_bgr, 0, 1);
  planes.push_back(red_green);  // colour, alone and against the frame
  planes.push_back(blue_green);
  planes.push_back(red_green - quantile_of(red_green, 0.5));
  planes.push_back(blue_green - quantile_of(blue_green, 0.5));

  planes.push_back(log_of(blurred(fine, 3)));  // texture by scale, near and around
  planes.push_back(log_of(blurred(fine, 12)));
  planes.push_back(detail(calm, calm1, 4));
  planes.push_back(detail(calm, calm1, 16));
  planes.push_back(detail(calm1, calm2, 8));
  planes.push_back(detail(calm2, calm4, 8));
  planes.push_back(detail(calm4, calm8, 12));
  planes.push_back(detail(calm8, calm16, 20));
  planes.push_back(detail(red_green, blurred(red_green, 6), 8));  // colour changes more on land
  planes.push_back(detail(blue_green, blurred(blue_green, 6), 8));

  const cv::Mat specks = cv::max(light - calm_light, 0);
  planes.push_back(log_of(blurred(specks, 8)));  // glitter: bright specks on a calm ground
  planes.push_back(log_of(blurred(specks.mul(specks), 8)));
  cv::Mat lowest;
  cv::erode(calm, lowest, cv::getStructuringElement(cv::MORPH_RECT, {17, 17}));
  planes.push_back(blurred(lowest, 6) - middle);  // the dark side of the surroundings
  planes.push_back(calm8 - blurred(lowest, 6));
  planes.push_back(one_way_detail(calm));
  // Texture of one scale against the next says the same of a sharp and a soft, a contrasty and a flat
  // picture.
  planes.push_back(planes[8] - planes[10]);
  planes.push_back(planes[12] - planes[14]);
  planes.push_back(planes[14] - planes[15]);
  planes.push_back(detail(red_green, blurred(red_green, 12), 24));
  planes.push_back(detail(blue_green, blurred(blue_green, 12), 24));
  return features;
}

FeaturePlanes water_context_features(const FeaturePlanes& look, const cv::Mat& first_chance) {
  // Nothing here describes the frame as a whole: from few frames that would be learnt by heart.
  FeaturePlanes features;
  for (const int kept : {0, 1, 4, 5, 8, 9, 11, 16, 18, 20}) features.planes.push_back(look.planes[kept]);
  features.planes.push_back(first_chance);
  for (const double around_px : {3.0, 8.0, 20.0, 40.0, 80.0})
    features.planes.push_back(blurred(first_chance, around_px));
  cv::Mat least, most;
  cv::erode(blurred(first_chance, 2), least, cv::getStructuringElement(cv::MORPH_RECT, {17, 17}));
  cv::dilate(blurred(first_chance, 2), most, cv::getStructuringElement(cv::MORPH_RECT, {17, 17}));
  features.planes.push_back(blurred(least, 5));
  features.planes.push_back(blurred(most, 5));
  return features;
}

cv::Mat water_chance(const WorkingPicture& picture) {
  const FeaturePlanes look = water_features(picture);
  const cv::Mat first = chance_of(log_odds(water_look_model(), look));
  const cv::Mat second = chance_of(log_odds(water_context_model(), water_context_features(look, first)));
  cv::Mat chance;
  cv::resize(second, chance, picture.light.size(), 0, 0, cv::INTER_LINEAR);
  return chance;
}

}  // namespace lookdown::glare
