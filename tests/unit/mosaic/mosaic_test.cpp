// The stage as a whole, on small invented flights whose ground is known.
#include "stages/mosaic/mosaic.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <exiv2/exiv2.hpp>
#include <fstream>
#include <iterator>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/record/run_context.h"
#include "stages/mosaic/canvas.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

using test::make_small_flight;
using test::SmallFlight;

void build_with(SmallFlight& flight, const Options& options, int threads = 2) {
  const FrameReader reader;
  const Scheduler scheduler({threads, 1'000'000'000});
  const Cache cache{""};
  Progress progress(false);
  RunContext context{flight.out, reader, scheduler, cache, progress};
  build(flight.record, options, context);
}

cv::Mat colours(const SmallFlight& flight) {
  cv::Mat four = cv::imread((flight.out / "mosaic.tif").string(), cv::IMREAD_UNCHANGED), three;
  cv::cvtColor(four, three, cv::COLOR_BGRA2BGR);
  return three;
}

cv::Mat alpha(const SmallFlight& flight) {
  cv::Mat band;
  cv::extractChannel(cv::imread((flight.out / "mosaic.tif").string(), cv::IMREAD_UNCHANGED), band, 3);
  return band;
}

cv::Mat sources(const SmallFlight& flight) {
  return cv::imread((flight.out / "mosaic_sources.tif").string(), cv::IMREAD_UNCHANGED);
}

double mean_difference(const cv::Mat& a, const cv::Mat& b, const cv::Mat& where) {
  cv::Mat apart;
  cv::absdiff(a, b, apart);
  const cv::Scalar mean = cv::mean(apart, where);
  return (mean[0] + mean[1] + mean[2]) / 3;
}

std::string bytes_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

TEST(Mosaic, ShowsTheGroundInPlace) {
  SmallFlight flight = make_small_flight({});
  Options options;
  options.colour_balance = false;
  build_with(flight, options);
  ASSERT_TRUE(flight.record.mosaic);
  const cv::Mat covered = alpha(flight);
  EXPECT_GT(cv::countNonZero(covered), covered.rows * covered.cols / 2);
  // Two resamplings of a texture with detail of 3 px cost a few code values, less than half of what a shift
  // by a pixel does.
  cv::Mat shifted;
  cv::warpAffine(flight.ground, shifted, cv::Matx23d(1, 0, 1, 0, 1, 0), flight.ground.size());
  EXPECT_LT(mean_difference(colours(flight), flight.ground, covered),
            0.5 * mean_difference(colours(flight), shifted, covered));
}

TEST(Mosaic, SourcesNameAFrameExactlyWhereThereIsOne) {
  SmallFlight flight = make_small_flight({});
  build_with(flight, {});
  const cv::Mat covered = alpha(flight), source = sources(flight);
  ASSERT_EQ(source.type(), CV_16UC1);
  ASSERT_EQ(source.size(), covered.size());
  EXPECT_EQ(cv::countNonZero((source != 65535) != (covered == 255)), 0);
  for (int row = 0; row < source.rows; row += 7)
    for (int column = 0; column < source.cols; column += 7) {
      const int index = source.at<ushort>(row, column);
      if (index == 65535) continue;
      ASSERT_LT(index, 6);
      const auto& placement = flight.record.frames[index].placement;
      const auto seen = placement.camera.distort(placement.mosaic_from_frame.inverse() *
                                                 Point2<MosaicPx>{1.0 * column, 1.0 * row});
      EXPECT_GE(seen.x, -0.51);
      EXPECT_LE(seen.x, 239.51);
      EXPECT_GE(seen.y, -0.51);
      EXPECT_LE(seen.y, 179.51);
    }
}

TEST(Mosaic, IsTheSameForAnyNumberOfThreads) {
  std::string first;
  for (const int threads : {1, 2, 5}) {
    SmallFlight flight = make_small_flight({.gains = {{1.2, 1.1, 1.0}, {0.8, 0.8, 0.8}}});
    build_with(flight, {}, threads);
    const std::string bytes =
        bytes_of(flight.out / "mosaic.tif") + bytes_of(flight.out / "mosaic_sources.tif");
    ASSERT_GT(bytes.size(), 10000U);
    if (first.empty()) first = bytes;
    EXPECT_EQ(bytes == first, true) << threads << " threads";
  }
}

// The curve's own values are tested with it; here that the finished picture goes through it and nothing else
// does.
TEST(Mosaic, AToneCurveIsLaidOverTheFinishedPicture) {
  SmallFlight plain = make_small_flight({}), toned = make_small_flight({});
  build_with(plain, {});
  Options options;
  options.tone_curve = "0,1 1,0.5";
  EXPECT_THROW(check(options), std::runtime_error) << "a curve that falls";
  options.tone_curve = "0,0.5 1,1";
  check(options);
  build_with(toned, options);
  cv::Mat expected;
  colours(plain).convertTo(expected, CV_8U, 0.5, 127.5);
  EXPECT_EQ(cv::norm(alpha(plain), alpha(toned), cv::NORM_INF), 0);
  EXPECT_EQ(cv::norm(sources(plain), sources(toned), cv::NORM_INF), 0);
  // Rounded to eight bits once in each.
  cv::Mat apart;
  cv::absdiff(expected, colours(toned), apart);
  apart.setTo(0, alpha(plain) == 0);
  EXPECT_LE(cv::norm(apart, cv::NORM_INF), 1);
}

TEST(Mosaic, GainsAndVignettingVanish) {
  SmallFlight flight = make_small_flight({.gains = {{1.3, 1.3, 1.3},
                                                    {0.8, 0.75, 0.75},
                                                    {1.0, 1.0, 1.1},
                                                    {1.2, 1.15, 1.15},
                                                    {0.7, 0.7, 0.7},
                                                    {1, 1, 1}},
                                          .vignetting = 0.35});
  build_with(flight, {});
  const cv::Mat covered = alpha(flight);
  // The level of a flight as a whole cannot be known: one factor a channel is fitted before comparing.
  cv::Mat found, truth;
  colours(flight).convertTo(found, CV_32FC3);
  flight.ground.convertTo(truth, CV_32FC3);
  const cv::Scalar level = cv::mean(found, covered), given = cv::mean(truth, covered);
  found = found.mul(cv::Scalar(given[0] / level[0], given[1] / level[1], given[2] / level[2]));
  cv::Mat smooth_found, smooth_truth;
  cv::boxFilter(found, smooth_found, CV_32F, {9, 9});
  cv::boxFilter(truth, smooth_truth, CV_32F, {9, 9});
  cv::Mat inside;
  cv::erode(covered, inside, cv::Mat::ones(9, 9, CV_8U));
  const double with = mean_difference(smooth_found, smooth_truth, inside);
  Options off;
  off.colour_balance = false;
  build_with(flight, off);
  colours(flight).convertTo(found, CV_32FC3);
  cv::boxFilter(found, smooth_found, CV_32F, {9, 9});
  const double without = mean_difference(smooth_found, smooth_truth, inside);
  EXPECT_LT(with, 4);
  EXPECT_LT(with, 0.35 * without);
}

// A camera that evens out passing clouds by itself: Exif tells of exposures four times apart, the pictures
// are alike. Few and noisy overlaps must not let Exif win.
TEST(Mosaic, ExposureThatThePicturesContradictIsNotBelieved) {
  SmallFlight flight = make_small_flight({.columns = 4, .rows = 3});
  int number = 0;
  for (FrameRecord& frame : flight.record.frames) {
    cv::Mat picture = cv::imread(frame.source.path.string()), sum;
    cv::RNG random(number + 1);
    // Coarse blotches of their own in every frame, as roofs and their shadows make: single spots contradict
    // each other.
    cv::Mat blotches(12, 16, CV_32FC3), wide;
    random.fill(blotches, cv::RNG::NORMAL, 0, 45);
    cv::resize(blotches, wide, picture.size(), 0, 0, cv::INTER_LINEAR);
    picture.convertTo(sum, CV_32FC3);
    cv::Mat(sum + wide).convertTo(picture, CV_8U);
    cv::imwrite(frame.source.path.string(), picture);
    frame.info.exposure_s = 0.001 * std::exp2(number % 3);
    frame.info.iso = 100;
    frame.info.f_number = 4;
    ++number;
  }
  build_with(flight, {});
  cv::Mat found, truth;
  const cv::Mat covered = alpha(flight), source = sources(flight);
  colours(flight).convertTo(found, CV_32FC3);
  flight.ground.convertTo(truth, CV_32FC3);
  // Level of each frame's part over the ground's: all alike but for the blotches.
  std::vector<double> levels;
  for (int frame = 0; frame < 12; ++frame)
    if (const cv::Mat part = source == frame; cv::countNonZero(part) > 4000)
      levels.push_back(cv::mean(found, part)[1] / cv::mean(truth, part)[1]);
  ASSERT_GE(levels.size(), 4U);
  EXPECT_LT(*std::max_element(levels.begin(), levels.end()) / *std::min_element(levels.begin(), levels.end()),
            1.35);
}

TEST(Mosaic, GlareLosesWhereAnotherFrameIsClean) {
  SmallFlight flight = make_small_flight({.glare = {{}, {100, 60, 50, 40}}});
  build_with(flight, {});
  const cv::Mat source = sources(flight);
  const auto& placement = flight.record.frames[1].placement;
  const auto spot = placement.mosaic_from_frame * placement.camera.undistort({125, 80});
  EXPECT_NE(source.at<ushort>(static_cast<int>(spot.y), static_cast<int>(spot.x)), 1);
  // The ground is at most 190; glare is 255.
  cv::Mat bright;
  cv::inRange(colours(flight), cv::Scalar::all(240), cv::Scalar::all(255), bright);
  EXPECT_EQ(cv::countNonZero(bright & alpha(flight)), 0);
  ASSERT_TRUE(flight.record.mosaic->unavoidable_glare_m2);
  EXPECT_EQ(*flight.record.mosaic->unavoidable_glare_m2, 0);
}

TEST(Mosaic, GlareThatNoFrameEscapesIsMarked) {
  SmallFlight flight =
      make_small_flight({.columns = 1, .rows = 1, .tilt_deg = 0, .glare = {{100, 60, 50, 40}}});
  build_with(flight, {});
  const cv::Mat glare = cv::imread((flight.out / "mosaic_glare.tif").string(), cv::IMREAD_UNCHANGED);
  // One frame straight down at 2.1 m with f = 220 px: a frame pixel is 2.1 / 220 m wide on the ground.
  const double expected_m2 = 50 * 40 * std::pow(2.1 / 220, 2);
  ASSERT_TRUE(flight.record.mosaic->unavoidable_glare_m2);
  EXPECT_NEAR(*flight.record.mosaic->unavoidable_glare_m2, expected_m2, 0.06 * expected_m2);
  EXPECT_NEAR(cv::countNonZero(glare) * 1e-4, expected_m2, 0.06 * expected_m2);
}

TEST(Mosaic, NewestRuleShowsTheNewestFrame) {
  SmallFlight flight = make_small_flight({});
  Options options;
  options.order = "newest";
  build_with(flight, options);
  const auto& last = flight.record.frames[5].placement;
  const auto middle = last.mosaic_from_frame * last.camera.undistort({120, 90});
  EXPECT_EQ(sources(flight).at<ushort>(static_cast<int>(middle.y), static_cast<int>(middle.x)), 5);
}

TEST(Mosaic, FinerGsdEnlargesThePicture) {
  SmallFlight flight = make_small_flight({});
  Options options;
  options.gsd_m = 0.005;
  build_with(flight, options);
  EXPECT_EQ(flight.record.mosaic->width_px, 2 * flight.ground.cols);
  cv::Mat reduced, covered;
  cv::resize(colours(flight), reduced, flight.ground.size(), 0, 0, cv::INTER_AREA);
  cv::resize(alpha(flight), covered, flight.ground.size(), 0, 0, cv::INTER_AREA);
  EXPECT_LT(mean_difference(reduced, flight.ground, covered == 255), 4);
}

TEST(Mosaic, DroppedAndUnplacedFramesAreNotShown) {
  SmallFlight flight = make_small_flight({});
  flight.record.frames[0].decision.verdict = Verdict::drop;
  flight.record.frames[1].placement.placed = false;
  build_with(flight, {});
  const cv::Mat source = sources(flight);
  // Frame 0 is the first of placement.json, frame 1 is not in it: frames 2..5 are 1..4.
  for (int row = 0; row < source.rows; ++row)
    for (int column = 0; column < source.cols; ++column) {
      const int index = source.at<ushort>(row, column);
      ASSERT_TRUE(index == 65535 || (index >= 1 && index <= 4)) << index;
    }
}

/// The first frame of a small flight dropped, blurred, for the reason given.
SmallFlight with_first_frame_dropped(const char* reason) {
  SmallFlight flight = make_small_flight({});
  FrameRecord& frame = flight.record.frames[0];
  cv::Mat picture = cv::imread(frame.source.path.string());
  cv::GaussianBlur(picture, picture, {}, 3);
  cv::imwrite(frame.source.path.string(), picture);
  frame.decision.verdict = Verdict::drop;
  frame.decision.reasons = {{reason, 7.0, 2.5, "px", Verdict::drop}};
  return flight;
}

TEST(Mosaic, ABlurredFrameFillsInWhereNoKeptFrameSeesTheGroundAndNowhereElse) {
  SmallFlight without = with_first_frame_dropped("smeared"), with = with_first_frame_dropped("smeared");
  Options options;
  options.fill = false;
  build_with(without, options);
  options.fill = true;
  build_with(with, options);
  const cv::Mat holes = alpha(with) & ~alpha(without);
  ASSERT_GT(cv::countNonZero(holes), 1000);
  EXPECT_EQ(cv::countNonZero(alpha(without) & ~alpha(with)), 0);
  // Whatever kept frames see they show, but for the cells along the rim.
  cv::Mat inner;
  cv::erode(alpha(without), inner, cv::Mat(), {-1, -1}, 8, cv::BORDER_CONSTANT, cv::Scalar(0));
  EXPECT_EQ(cv::countNonZero((sources(with) == 0) & inner), 0);
  EXPECT_EQ(cv::countNonZero((sources(with) != 0) & holes), 0) << "the holes are the first frame's";
  ASSERT_TRUE(with.record.mosaic);
  EXPECT_NEAR(*with.record.mosaic->filled_share,
              double(cv::countNonZero(sources(with) == 0)) / cv::countNonZero(alpha(with)), 1e-9);
  EXPECT_EQ(with.record.mosaic->filled_by, std::vector<int>{0});
  EXPECT_EQ(*without.record.mosaic->filled_share, 0);
}

TEST(Mosaic, AFrameDroppedForAnotherReasonThanBlurNeverFills) {
  SmallFlight flight = with_first_frame_dropped("near-repeat");
  build_with(flight, {});
  EXPECT_EQ(cv::countNonZero(sources(flight) == 0), 0);
  SmallFlight by_hand = with_first_frame_dropped("smeared");
  by_hand.record.frames[0].decision.by_person = true;
  build_with(by_hand, {});
  EXPECT_EQ(cv::countNonZero(sources(by_hand) == 0), 0);
}

TEST(Mosaic, NothingPlacedIsAWarningAndNoFile) {
  SmallFlight flight = make_small_flight({.columns = 2, .rows = 1});
  for (FrameRecord& frame : flight.record.frames) frame.placement.placed = false;
  build_with(flight, {});
  EXPECT_FALSE(flight.record.mosaic);
  EXPECT_EQ(flight.record.warnings.size(), 1U);
  EXPECT_FALSE(std::filesystem::exists(flight.out / "mosaic.tif"));
}

TEST(Mosaic, AFrameThatVanishedIsLeftOutWithAWarning) {
  SmallFlight flight = make_small_flight({});
  std::filesystem::remove(flight.record.frames[2].source.path);
  build_with(flight, {});
  ASSERT_TRUE(flight.record.mosaic);
  ASSERT_EQ(flight.record.warnings.size(), 1U);
  EXPECT_NE(flight.record.warnings[0].find("P02.png"), std::string::npos);
  EXPECT_EQ(cv::countNonZero(sources(flight) == 2), 0);
}

TEST(Mosaic, TooLargeIsRefusedBeforeWork) {
  SmallFlight flight = make_small_flight({});
  Options options;
  options.max_gigapixels = 1e-6;
  EXPECT_THROW(build_with(flight, options), CanvasError);
  EXPECT_FALSE(std::filesystem::exists(flight.out / "mosaic.tif"));
}

// As GDAL and exiv2 read them; tags of TIFF 6.0, Exif 2.32 and XMP (ISO 16684-1).
TEST(Mosaic, FilesSayWhatTheyAreAndKeepAuthorAndCopyright) {
  SmallFlight flight = make_small_flight({});
  for (const FrameRecord& frame : flight.record.frames) {
    const auto picture = Exiv2::ImageFactory::open(frame.source.path.string());
    picture->readMetadata();
    picture->exifData()["Exif.Image.Artist"] = "A. Reed";
    picture->exifData()["Exif.Image.Copyright"] = "2025 Reed";
    picture->writeMetadata();
  }
  build_with(flight, {});
  for (const char* file : {"mosaic.tif", "mosaic.jpg"}) {
    const auto made = Exiv2::ImageFactory::open((flight.out / file).string());
    made->readMetadata();
    Exiv2::ExifData& exif = made->exifData();
    EXPECT_TRUE(exif["Exif.Image.Software"].toString().starts_with("lookdown ")) << file;
    EXPECT_TRUE(exif["Exif.Image.ImageDescription"].toString().starts_with("straight-down mosaic; from "))
        << file;
    EXPECT_EQ(exif["Exif.Image.Artist"].toString(), "A. Reed") << file;
    EXPECT_EQ(exif["Exif.Image.Copyright"].toString(), "2025 Reed") << file;
  }
}

TEST(Mosaic, LeavesNoWorkingFiles) {
  SmallFlight flight = make_small_flight({});
  build_with(flight, {});
  for (const auto& entry : std::filesystem::directory_iterator(flight.out))
    EXPECT_EQ(entry.path().filename().string().find("unfinished"), std::string::npos) << entry.path();
}

}  // namespace
}  // namespace lookdown::mosaic
