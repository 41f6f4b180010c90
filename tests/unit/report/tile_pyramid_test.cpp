#include "stages/report/tiles/tile_pyramid.h"

#include <gdal_priv.h>
#include <gtest/gtest.h>

#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "tests/program_run.h"
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

/// Draws over a place of the mosaic, its overviews included.
void draw_over(const fs::path& mosaic, const cv::Rect& place) {
  GDALAllRegister();
  GDALDriverManager& drivers = *GetGDALDriverManager();
  GDALDatasetUniquePtr file(GDALDataset::Open(mosaic.c_str(), GDAL_OF_RASTER));
  const GDALDatasetUniquePtr copy(
      drivers.GetDriverByName("MEM")->CreateCopy("", file.get(), 0, nullptr, nullptr, nullptr));
  file.reset();
  std::vector<std::uint8_t> white(static_cast<std::size_t>(place.area()), 255);
  for (int band = 1; band <= 4; ++band)
    ASSERT_EQ(CE_None, copy->GetRasterBand(band)->RasterIO(GF_Write, place.x, place.y, place.width,
                                                           place.height, white.data(), place.width,
                                                           place.height, GDT_Byte, 0, 0, nullptr));
  const char* const words[] = {"COMPRESS=DEFLATE", "BLOCKSIZE=512", nullptr};
  const GDALDatasetUniquePtr written(drivers.GetDriverByName("COG")->CreateCopy(
      mosaic.c_str(), copy.get(), 0, const_cast<char**>(words), nullptr, nullptr));
  ASSERT_TRUE(written);
}

TEST_F(Tiles, AreThoseOfAFreshCutWhereOnlyAPartOfTheMosaicHasChanged) {
  draw_over(out_ / "mosaic.tif", {0, 0, 8, 8});
  (void)cut();
  const fs::path kept = out_ / "mosaic_tiles" / "3" / "1_3.jpg";
  const auto written = fs::last_write_time(kept);
  draw_over(out_ / "mosaic.tif", {700, 100, 200, 200});
  const TilePyramid again = cut();
  EXPECT_EQ(written, fs::last_write_time(kept)) << "nothing of it has changed";
  const auto renewed = contents_of(out_ / "mosaic_tiles");
  fs::remove_all(out_ / "mosaic_tiles");
  const TilePyramid fresh = cut();
  EXPECT_EQ(fresh[3].there, again[3].there);
  EXPECT_TRUE(contents_of(out_ / "mosaic_tiles") == renewed);
}

TEST_F(Tiles, GoWhenThereIsNoMosaic) {
  (void)cut();
  flight_.record.mosaic.reset();
  EXPECT_TRUE(cut().empty());
  EXPECT_FALSE(fs::exists(out_ / "mosaic_tiles"));
}

}  // namespace
}  // namespace lookdown::report
