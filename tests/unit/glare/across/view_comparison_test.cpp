#include "stages/glare/across/view_comparison.h"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <random>

#include "stages/glare/picture/plane_math.h"

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
  const cv::Mat none = cv::Mat::zeros(bgr.size(), CV_8UC1);
  return {bgr.clone(), ~none, none, cv::Mat(bgr.size(), CV_8UC1, cv::Scalar(60))};
}

TEST(Overlay, ShiftsByTheDifferenceOfThePlaces) {
  const cv::Mat ground = dappled(1, {800, 600});
  const SearchedFrame own = frame_of(ground({100, 100, 400, 300})),
                      other = frame_of(ground({180, 140, 400, 300}));
  const OverlaidView view =
      overlay(other, camera_at(180, 140), SightGrid(camera_at(100, 100), own.bgr.size()));
  EXPECT_EQ(view.seen.at<uchar>(100, 40), 0);
  EXPECT_EQ(view.seen.at<uchar>(100, 100), 255);
  const cv::Rect common(90, 50, 300, 240);
  EXPECT_LE(cv::norm(view.luma(common), luma_of(own.bgr)(common), cv::NORM_INF), 2);
}

TEST(Overlay, AllowsForLensDistortion) {
  // Both views have the same strong lens: laid over itself a frame is unchanged.
  const SearchedFrame own = frame_of(dappled(2, {400, 300}));
  const PlacedCamera place = camera_at(50, 60, -0.1);
  const OverlaidView view = overlay(own, place, SightGrid(place, own.bgr.size()));
  const cv::Rect inner(10, 10, 380, 280);
  EXPECT_LE(cv::norm(view.luma(inner), luma_of(own.bgr)(inner), cv::NORM_INF), 3);
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
  cv::Mat picture;  // of the own frame, twice the size that is compared
  SearchedFrame own;
  std::vector<OverlaidView> others;
};

// Three views of one pond: white crust in all of them, a glint elsewhere in each.
ThreeViews pond() {
  const cv::Mat ground = dappled(3, {400, 300});
  ThreeViews views;
  for (int i = 0; i < 3; ++i) {
    cv::Mat picture = ground.clone();
    cv::circle(picture, {100, 150}, 20, {230, 235, 235}, cv::FILLED);          // crust
    cv::circle(picture, {300, 80 + 70 * i}, 16, {245, 245, 245}, cv::FILLED);  // glint
    SearchedFrame frame = frame_of(picture);
    cv::circle(frame.glint, {300, 80 + 70 * i}, 16, cv::Scalar(255), cv::FILLED);
    if (i == 0) {
      views.own = frame;
      cv::resize(picture, views.picture, {800, 600}, 0, 0, cv::INTER_NEAREST);
    } else {
      views.others.push_back(
          {luma_of(frame.bgr), frame.water, frame.glint, cv::Mat(picture.size(), CV_8UC1, cv::Scalar(255))});
    }
  }
  return views;
}

cv::Mat glare_beyond(const ThreeViews& views) {
  const ComparedFrame compared = compare_views(views.own, views.others);
  const WorkingPicture picture = prepare(views.picture);
  const cv::Mat water(picture.calm_bgr.size(), CV_8UC1, cv::Scalar(255));
  SeenPatches seen = seen_patches(picture, surface_look(picture));
  const KnownPatches known{std::move(seen.patches), {std::move(seen.looks), {}, {}}, {}, {}};
  return glint_beyond_views(picture, known, water, compared.below).any();
}

TEST(CompareViews, MovingBrightnessIsGlareAndStandingBrightnessIsNot) {
  const ThreeViews views = pond();
  const cv::Mat glare = glare_beyond(views);
  EXPECT_EQ(glare.at<uchar>(160, 600), 255);  // own glint
  EXPECT_EQ(glare.at<uchar>(300, 200), 0);    // crust
  EXPECT_EQ(glare.at<uchar>(300, 600), 0);    // where only another view has its glint
  EXPECT_EQ(glare.at<uchar>(500, 400), 0);    // plain water
}

TEST(CompareViews, DoesNotDependOnTheExposureOfTheOthers) {
  ThreeViews views = pond();
  const cv::Mat before = glare_beyond(views);
  for (OverlaidView& other : views.others) other.luma.convertTo(other.luma, -1, 0.8);
  const cv::Mat changed = before ^ glare_beyond(views);
  EXPECT_LT(cv::countNonZero(changed), 0.003 * static_cast<double>(changed.total()));
}

// One of two views is darker: where both tell, the low of them is what lies below; where it glares, the other
// alone tells; where both do, none.
TEST(CompareViews, OnlyViewsThatDoNotGlareThereTellWhatLiesBelow) {
  ThreeViews views = pond();
  const cv::Rect dark(10, 10, 20, 20);
  const cv::Point in_dark(20, 20);
  views.others[0].luma(dark).setTo(20);
  const BelowWater both = compare_views(views.own, views.others).below;
  EXPECT_EQ(both.told.at<uchar>(in_dark), 255);
  EXPECT_NEAR(both.level.at<uchar>(in_dark), 20, 3);
  views.others[0].glint(dark).setTo(255);
  const BelowWater one = compare_views(views.own, views.others).below;
  EXPECT_EQ(one.told.at<uchar>(in_dark), 255);
  EXPECT_GT(one.level.at<uchar>(in_dark), 40);
  for (OverlaidView& other : views.others) other.seen.setTo(0);
  EXPECT_EQ(cv::countNonZero(compare_views(views.own, views.others).below.told), 0);
}

// A roof that the frame takes for water: past it the others see darker ground, and call it so.
TEST(CompareViews, WhatIsLandToOneOfTheOthersDoesNotShineAtLarge) {
  ThreeViews views = pond();
  views.others[0].water(cv::Rect(270, 50, 60, 60)).setTo(0);
  const cv::Mat glare = glare_beyond(views);
  EXPECT_EQ(glare.at<uchar>(160, 600), 0);
  const BelowWater below = compare_views(views.own, views.others).below;
  EXPECT_EQ(below.told.at<uchar>(80, 300), 255);
  EXPECT_EQ(below.wet.at<uchar>(80, 300), 0);
  EXPECT_EQ(below.wet.at<uchar>(250, 200), 255);
}

// A roof or a boat that stands off the plane lies elsewhere in each view; it is no glare, since nothing
// around it is water.
TEST(CompareViews, WhatIsAwayFromWaterIsNoGlareThoughItMoves) {
  ThreeViews views = pond();
  views.own.water.setTo(0);
  EXPECT_EQ(cv::countNonZero(glare_beyond(views).colRange(500, 800)), 0);
}

// Three frames of exposures 1, 2 and 1/2; the first two look at the same ground, and so do the last two.
TEST(LogExposures, FollowFromWhatIsBrighterWhereFramesLookAtTheSame) {
  const double two = std::log(2.0);
  const std::vector<double> exposures =
      log_exposures({{1}, {0, 2}, {1}}, {{-two}, {two, 2 * two}, {-2 * two}});
  EXPECT_NEAR(exposures[1] - exposures[0], two, 0.1 * two);
  EXPECT_NEAR(exposures[1] - exposures[2], 2 * two, 0.2 * two);
  EXPECT_EQ(log_exposures({{}}, {{}})[0], 0);
}

// A pond of two colours on grass; all that is seen of it and of the grass stands still between views.
struct PondThatStands {
  WorkingPicture picture;
  SurfaceLook surface;
  cv::Mat water, deep_alone;  // CV_8UC1, half the working size

  PondThatStands() {
    const cv::Size size(640, 480);
    const cv::Rect deep(160, 120, 160, 240), shallow(320, 120, 160, 240);
    cv::Mat bgr(size, CV_8UC3), all(size, CV_8UC1, cv::Scalar(0));
    cv::RNG random(3);
    random.fill(bgr, cv::RNG::NORMAL, cv::Scalar(50, 100, 85), cv::Scalar::all(14));
    random.fill(bgr(deep), cv::RNG::NORMAL, cv::Scalar(70, 60, 45), cv::Scalar::all(2));
    random.fill(bgr(shallow), cv::RNG::NORMAL, cv::Scalar(80, 85, 80), cv::Scalar::all(2));
    all(deep).setTo(255);
    picture = prepare(bgr);
    surface = surface_look(picture);
    cv::resize(all, deep_alone, picture.calm_bgr.size(), 0, 0, cv::INTER_NEAREST);
    all(shallow).setTo(255);
    cv::resize(all, water, picture.calm_bgr.size(), 0, 0, cv::INTER_NEAREST);
  }
  // When `believed` is taken for water, and the views' searches take `voted` for it; `usual`: log-odds of
  // what water usually looks like, of the water.
  [[nodiscard]] KnownPatches known(const cv::Mat& believed, const cv::Mat& voted, double usual = 0) const {
    const cv::Size size = water.size();
    const auto plane = [&](double value) { return cv::Mat(size, CV_32FC1, cv::Scalar(value)); };
    ComparedFrame compared{plane(-1.2), {}, {}};
    compared.votes.setTo(1.2, voted);
    UsualLook look{{}, {}, plane(-usual)};
    look.water.setTo(usual, water);
    return known_patches(seen_patches(picture, surface), look, believed, compared,
                         {plane(-5), plane(0), plane(1)});
  }
  // Share of the water that is told wrong in `own` by what the samples teach.
  [[nodiscard]] double wrong(const KnownPatches& own,
                             const std::vector<const KnownPatches*>& teachers) const {
    LookSamples samples;
    for (const KnownPatches* of_frame : teachers) samples.add(of_frame->samples, 0);
    const auto look = LearnedLook::from(samples);
    EXPECT_TRUE(look);
    return cv::countNonZero(water_by_look(own, look, 0) ^ water) /
           static_cast<double>(cv::countNonZero(water));
  }
};

// The shallow part is taken for ground at first in this frame; in the others of the flight both parts are
// known to be water.
TEST(WaterByLook, IsWhatTheFlightsWaterLooksLikeThoughItsBottomStands) {
  const PondThatStands pond;
  const KnownPatches own = pond.known(pond.deep_alone, pond.deep_alone),
                     other = pond.known(pond.water, pond.water);
  EXPECT_LT(pond.wrong(own, {&other, &other, &own}), 0.03);
  const cv::Mat believed = water_by_look(own, std::nullopt, 0) ^ pond.deep_alone;
  EXPECT_LT(cv::countNonZero(believed), 0.03 * cv::countNonZero(pond.water));
}

// More frames take the shallow part for ground, since it stands, than not, but their own searches take it for
// water.
TEST(WaterByLook, ABottomThatStandsHardlyTeachesThatWhatLooksLikeWaterIsGround) {
  const PondThatStands pond;
  const KnownPatches own = pond.known(pond.deep_alone, pond.water),
                     other = pond.known(pond.water, pond.water);
  EXPECT_LT(pond.wrong(own, {&other, &other, &own, &own, &own}), 0.03);
}

// Neither is ground that merely is as even as water is, and that no search takes for it, water for that.
TEST(WaterByLook, WhatNoSearchTakesForWaterIsGroundHoweverEven) {
  const PondThatStands pond;
  const KnownPatches own = pond.known(pond.deep_alone, pond.deep_alone),
                     other = pond.known(pond.water, pond.water);
  EXPECT_GT(pond.wrong(own, {&other, &other, &own, &own, &own}), 0.4);
}

TEST(WaterByLook, WhatLooksAsWaterUsuallyDoesIsWaterWhereTheFlightLeavesADoubt) {
  const PondThatStands pond;
  const KnownPatches own = pond.known(pond.deep_alone, pond.deep_alone, kMostOfUsualLook),
                     other = pond.known(pond.water, pond.water, kMostOfUsualLook);
  EXPECT_LT(pond.wrong(own, {&other, &other, &own, &own}), 0.03);
}

}  // namespace
}  // namespace lookdown::glare
