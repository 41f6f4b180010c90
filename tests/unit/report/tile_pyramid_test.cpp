#include "stages/report/tiles/tile_pyramid.h"

#include <gtest/gtest.h>

#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "tests/unit/report/made_flight.h"

namespace lookdown::report {
namespace {

namespace fs = std::filesystem;

class Tiles : public testing::Test {
 protected:
  Tiles()
      : out_(fs::temp_directory_path() / ("tiles_" + std::to_string(::getpid()))),
        flight_(test::make_flight(out_, 8, 240)) {}
  ~Tiles() override { fs::remove_all(out_); }
  TilePyramid cut() { return write_tiles(flight_.record, context_); }
  [[nodiscard]] cv::Mat tile(const std::string& name) const {
    return cv::imread((out_ / "mosaic_tiles" / name).string());
  }

  fs::path out_;
  test::MadeFlight flight_;
  FrameReader reader_;
  Scheduler scheduler_{{2, 500'000'000}};
  Cache cache_{""};
  Progress progress_{false};
  RunContext context_{out_, reader_, scheduler_, cache_, progress_};
};

// The preview of the made-up flight holds the same ground as its mosaic, as another file that OpenCV reads.
TEST_F(Tiles, ShowTheMosaicsOwnPixelsAndItsHalves) {
  const TilePyramid pyramid = cut();
  ASSERT_EQ(4U, pyramid.size());
  const cv::Mat ground = cv::imread((out_ / "mosaic.jpg").string());
  EXPECT_LT(cv::norm(tile("3/1_2.jpg"), ground(cv::Rect(1024, 512, 512, 512)), cv::NORM_L1) / (512 * 512 * 3),
            3);
  cv::Mat half;
  cv::resize(ground, half, {}, 0.5, 0.5, cv::INTER_AREA);
  EXPECT_LT(cv::norm(tile("2/0_1.jpg"), half(cv::Rect(512, 0, 512, 512)), cv::NORM_L1) / (512 * 512 * 3), 3);
}

TEST_F(Tiles, AreFilledWithTheSurroundWhereNothingIsCovered) {
  const TilePyramid pyramid = cut();
  // The last 60 of 2400 columns are not covered: 2340 - 4 * 512 = 292 columns into the last tile.
  const cv::Vec3b colour = tile("3/0_4.jpg").at<cv::Vec3b>(100, 320);
  for (int band = 0; band < 3; ++band) EXPECT_NEAR(kSurround[band], colour[2 - band], 4);
}

TEST_F(Tiles, StayForTheSameMosaicAndAreCutAgainForAnother) {
  const TilePyramid first = cut();
  const fs::path one = out_ / "mosaic_tiles" / "3" / "1_1.jpg";
  fs::resize_file(one, 0);
  EXPECT_EQ(first[3].there, cut()[3].there);
  EXPECT_EQ(0U, fs::file_size(one)) << "nothing was cut again";
  std::ofstream(out_ / "mosaic.tif", std::ios::app | std::ios::binary) << "another";
  (void)cut();
  EXPECT_GT(fs::file_size(one), 1000U);
}

TEST_F(Tiles, GoWhenThereIsNoMosaic) {
  (void)cut();
  flight_.record.mosaic.reset();
  EXPECT_TRUE(cut().empty());
  EXPECT_FALSE(fs::exists(out_ / "mosaic_tiles"));
}

}  // namespace
}  // namespace lookdown::report
