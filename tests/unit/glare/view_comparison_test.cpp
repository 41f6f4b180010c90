#include "stages/glare/view_comparison.h"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <opencv2/imgproc.hpp>
#include <random>

namespace lookdown::glare {
namespace {

PlacedCamera camera_at(double x_px, double y_px, double k1 = 0) {
  PlacedCamera placed;
  placed.camera.width_px = 400;
  placed.camera.height_px = 300;
  placed.camera.fx_px = placed.camera.fy_px = 350;
  placed.camera.cx_px = 199.5;
  placed.camera.cy_px = 149.5;
  placed.camera.k1 = k1;
  placed.mosaic_from_frame.matrix << 1, 0, x_px, 0, 1, y_px, 0, 0, 1;
  return placed;
}

cv::Mat dappled(std::uint32_t seed, cv::Size size) {
  std::mt19937 random(seed);
  cv::Mat small(size.height / 10 + 1, size.width / 10 + 1, CV_8UC3), large;
  for (auto& v : cv::Mat_<cv::Vec3b>(small))
    v = {static_cast<uchar>(50 + random() % 40), static_cast<uchar>(70 + random() % 40),
         static_cast<uchar>(60 + random() % 40)};
  cv::resize(small, large, size, 0, 0, cv::INTER_CUBIC);
  return large;
}

SearchedFrame frame_of(const cv::Mat& bgr) {
  return {bgr.clone(), cv::Mat(bgr.size(), CV_8UC1, cv::Scalar(230)),
          cv::Mat(bgr.size(), CV_8UC1, cv::Scalar(40))};
}

TEST(Overlay, ShiftsByTheDifferenceOfThePlaces) {
  const cv::Mat ground = dappled(1, {800, 600});
  const SearchedFrame own = frame_of(ground({100, 100, 400, 300})),
                      other = frame_of(ground({180, 140, 400, 300}));
  const OverlaidView view = overlay(other, camera_at(180, 140), camera_at(100, 100), own.bgr.size());
  EXPECT_EQ(view.seen.at<uchar>(100, 40), 0);
  EXPECT_EQ(view.seen.at<uchar>(100, 100), 255);
  const cv::Rect common(90, 50, 300, 240);
  EXPECT_LE(cv::norm(view.bgr(common), own.bgr(common), cv::NORM_INF), 2);
}

TEST(Overlay, AllowsForLensDistortion) {
  // Both views have the same strong lens: laid over itself a frame is unchanged.
  const SearchedFrame own = frame_of(dappled(2, {400, 300}));
  const PlacedCamera place = camera_at(50, 60, -0.1);
  const OverlaidView view = overlay(own, place, place, own.bgr.size());
  const cv::Rect inner(10, 10, 380, 280);
  EXPECT_LE(cv::norm(view.bgr(inner), own.bgr(inner), cv::NORM_INF), 3);
}

TEST(CoveredShare, IsTheCommonPartOfTheOutline) {
  EXPECT_NEAR(covered_share(camera_at(0, 0), camera_at(200, 0)), 1 - 200.0 / 399, 1e-3);
  EXPECT_EQ(covered_share(camera_at(0, 0), camera_at(1000, 0)), 0);
}

TEST(ChooseViews, PrefersOtherStandpointsToNearRepeats) {
  const auto views =
      choose_views({camera_at(0, 0), camera_at(2, 1), camera_at(120, 0), camera_at(900, 0)}, 1);
  ASSERT_EQ(views[0].size(), 1u);
  EXPECT_EQ(views[0][0], 2);
  EXPECT_TRUE(views[3].empty());
}

struct ThreeViews {
  SearchedFrame own;
  std::vector<OverlaidView> others;
};

// Three views of one pond: white crust in all of them, a glint in the first only.
ThreeViews pond() {
  const cv::Mat ground = dappled(3, {400, 300});
  ThreeViews views;
  for (int i = 0; i < 3; ++i) {
    cv::Mat picture = ground.clone();
    cv::circle(picture, {100, 150}, 20, {230, 235, 235}, cv::FILLED);          // crust
    cv::circle(picture, {300, 80 + 70 * i}, 16, {245, 245, 245}, cv::FILLED);  // glint, elsewhere in each
    SearchedFrame frame = frame_of(picture);
    cv::circle(frame.glare, {100, 150}, 20, cv::Scalar(150), cv::FILLED);
    cv::circle(frame.glare, {300, 80 + 70 * i}, 16, cv::Scalar(150), cv::FILLED);
    if (i == 0)
      views.own = frame;
    else
      views.others.push_back(
          {frame.bgr, frame.water, frame.glare, cv::Mat(picture.size(), CV_8UC1, cv::Scalar(255))});
  }
  return views;
}

TEST(CompareViews, MovingBrightnessIsGlareAndStandingBrightnessIsNot) {
  const ThreeViews views = pond();
  const ComparedFrame compared = compare_views(views.own, views.others);
  EXPECT_GT(compared.glare.at<float>(80, 300), 0.9f);   // own glint
  EXPECT_LT(compared.glare.at<float>(150, 100), 0.3f);  // crust
  EXPECT_LT(compared.glare.at<float>(150, 300), 0.3f);  // where only another view has its glint
  EXPECT_LT(compared.glare.at<float>(250, 200), 0.2f);  // plain water
  EXPECT_EQ(compared.views.at<uchar>(10, 10), 2);
}

TEST(CompareViews, DoesNotDependOnTheExposureOfTheOthers) {
  ThreeViews views = pond();
  const ComparedFrame before = compare_views(views.own, views.others);
  for (OverlaidView& other : views.others) other.bgr.convertTo(other.bgr, -1, 0.8);
  const ComparedFrame after = compare_views(views.own, views.others);
  const cv::Mat changed = (before.glare > 0.5f) ^ (after.glare > 0.5f);
  EXPECT_LT(cv::countNonZero(changed), 0.003 * changed.total());
}

TEST(CompareViews, KeepsTheSingleFramesAnswerWhereNobodyElseLooks) {
  ThreeViews views = pond();
  for (OverlaidView& other : views.others) other.seen.setTo(0);
  const ComparedFrame compared = compare_views(views.own, views.others);
  EXPECT_NEAR(compared.glare.at<float>(150, 100), 150 / 255.0, 1e-3);
}

// The pond with the other views' brightness at the own glint too, as when their glitter lies there by chance.
ThreeViews pond_glittering_twice(int views_in_field) {
  ThreeViews views = pond();
  views.own.dark = cv::Mat(30, 40, CV_8UC3, cv::Scalar(60, 80, 70));
  for (std::size_t i = 0; i < views.others.size(); ++i) {
    cv::circle(views.others[i].bgr, {300, 80}, 16, {245, 245, 245}, cv::FILLED);
    views.others[i].field =
        cv::Mat(views.own.bgr.size(), CV_8UC1, cv::Scalar(static_cast<int>(i) < views_in_field ? 255 : 0));
  }
  return views;
}

TEST(CompareViews, GlitterInOtherViewsTellsNothingOfTheBottom) {
  const GlintPrior sun{cv::Mat(3, 4, CV_32FC1, cv::Scalar(4))};
  const ThreeViews all = pond_glittering_twice(2);
  EXPECT_GT(compare_views(all.own, all.others, sun).glare.at<float>(80, 300), 0.9f);
  // One that does not look into the glitter shows it bright: then it is.
  const ThreeViews one = pond_glittering_twice(1);
  EXPECT_LT(compare_views(one.own, one.others, sun).glare.at<float>(80, 300), 0.3f);
}

TEST(CompareViews, BrightInManyViewsStandsStillThoughAllLookIntoTheGlitter) {
  const GlintPrior sun{cv::Mat(3, 4, CV_32FC1, cv::Scalar(4))};
  ThreeViews views = pond_glittering_twice(2);
  views.others.push_back(views.others[0]);
  EXPECT_LT(compare_views(views.own, views.others, sun).glare.at<float>(150, 100), 0.3f);  // crust
}

}  // namespace
}  // namespace lookdown::glare
