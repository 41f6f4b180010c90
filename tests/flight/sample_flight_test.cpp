// The sample flight through the whole program, held against the truth that its renderer wrote.
#include <gdal_priv.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fmt/format.h>

#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "placement_score.h"
#include "program_run.h"
#include "sample_run.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

// One run serves all checks.
class SampleFlight : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    run_ = sample_run().run;
    truth_ = json::parse(std::ifstream(sample_frames() / "truth.json"));
    if (fs::exists(out() / "frames.csv")) table_ = read_frames_table(out() / "frames.csv");
  }
  static fs::path out() { return sample_run().out; }

  // Share of the truth's frames that satisfy `of` for which `holds` is true.
  template <class Of, class Holds>
  static double share(Of of, Holds holds) {
    int all = 0, good = 0;
    for (const json& frame : truth_["frames"]) {
      if (!of(frame)) continue;
      ++all;
      good += holds(table_.at(frame["file"]), frame) ? 1 : 0;
    }
    EXPECT_GT(all, 0);
    return static_cast<double>(good) / all;
  }

  static inline ProgramRun run_;
  static inline json truth_;
  static inline std::map<std::string, std::map<std::string, std::string>> table_;
};

bool is_nadir(const json& frame) {
  return frame["kind"] == "nadir";
}
bool is_sharp(const json& frame) {
  return frame["sharp"].get<bool>();
}

TEST_F(SampleFlight, RunEndsWellAndSaysWhereMosaicAndReportAre) {
  EXPECT_EQ(run_.exit_code, 0) << run_.errors;
  EXPECT_THAT(run_.output, ::testing::HasSubstr((out() / "mosaic.tif").string()));
  EXPECT_THAT(run_.output, ::testing::HasSubstr((out() / "report.html").string()));
  for (const char* file : {"frames.csv", "flight.json", "placement.json", "mosaic.tif", "mosaic_sources.tif",
                           "mosaic.jpg", "report.html"})
    EXPECT_TRUE(fs::exists(out() / file)) << file;
}

TEST_F(SampleFlight, EverySharpNadirFrameIsPlacedInOneGroupWithinThreePixels) {
  const bench::PlacementScore score =
      bench::score_placement(sample_frames() / "truth.json", out() / "placement.json");
  EXPECT_EQ(score.sharp_nadir_in_first_group, score.sharp_nadir);
  EXPECT_GE(score.sharp_nadir, 20);
  EXPECT_LE(score.rmse_px, 3.0);
  EXPECT_LE(std::abs(score.gsd_error_share), 0.005);
}

TEST_F(SampleFlight, BlurredFramesAreNotKeptAndSharpOnesAre) {
  EXPECT_GE(share([](const json& f) { return is_nadir(f) && !is_sharp(f); },
                  [](auto& row, const json&) { return row.at("verdict") != "keep"; }),
            0.9);
  // A sharp frame that shows the same again as a better one is set aside with its own reason, not for its
  // sharpness.
  EXPECT_GE(share([](const json& f) { return is_nadir(f) && is_sharp(f); },
                  [](auto& row, const json&) {
                    return row.at("verdict") == "keep" || !row.at("repeat_of").empty();
                  }),
            0.9);
}

TEST_F(SampleFlight, ObliquesWithAHorizonAreRecognisedAndLevelledToATenthOfADegree) {
  const auto with_horizon = [](const json& f) { return !f["horizon"].is_null(); };
  EXPECT_EQ(share(with_horizon, [](auto& row, const json&) { return row.at("view") == "horizon"; }), 1.0);
  EXPECT_EQ(share(with_horizon,
                  [](auto& row, const json& f) {
                    return std::abs(std::stod(row.at("roll_deg")) -
                                    f["horizon"]["roll_deg"].template get<double>()) < 0.5;
                  }),
            1.0);
  EXPECT_EQ(share(is_nadir, [](auto& row, const json&) { return row.at("view") != "horizon"; }), 1.0)
      << "no false horizon";
}

TEST_F(SampleFlight, LaunchFramesAreNotPartOfTheMosaic) {
  EXPECT_EQ(share([](const json& f) { return f["kind"] == "launch"; },
                  [](auto& row, const json&) { return row.at("placed") == "no" || row.at("group") != "0"; }),
            1.0);
}

TEST_F(SampleFlight, MosaicIsAGeoreferencedCloudOptimizedGeoTiffWithAlpha) {
  GDALAllRegister();
  const GDALDatasetUniquePtr mosaic(
      GDALDataset::Open((out() / "mosaic.tif").c_str(), GDAL_OF_RASTER | GDAL_OF_READONLY));
  ASSERT_TRUE(mosaic);
  EXPECT_EQ(mosaic->GetRasterCount(), 4);
  EXPECT_EQ(mosaic->GetRasterBand(4)->GetColorInterpretation(), GCI_AlphaBand);
  EXPECT_STREQ(mosaic->GetMetadataItem("LAYOUT", "IMAGE_STRUCTURE"), "COG");
  EXPECT_GE(mosaic->GetRasterBand(1)->GetOverviewCount(), 1);
  double transform[6];
  ASSERT_EQ(mosaic->GetGeoTransform(transform), CE_None);
  EXPECT_GT(transform[1], 0.005);
  EXPECT_LT(transform[1], 0.06);
  EXPECT_DOUBLE_EQ(transform[5], -transform[1]);
}

TEST_F(SampleFlight, PointsAndLinesOfTheCommandLineAreMeasuredWithAnError) {
  const ProgramRun measured = run_lookdown({"measure", "--line", "20,10 23,10 23,14", "--line", "20,10 50,50",
                                            "--point", "23,14", "--json", out().string()});
  ASSERT_EQ(measured.exit_code, 0) << measured.errors;
  const json shapes = json::parse(measured.output)["shapes"];
  ASSERT_EQ(shapes.size(), 3u) << measured.output;
  EXPECT_NEAR(shapes[1]["length"]["value"], 7, 1e-9);
  EXPECT_NEAR(shapes[2]["length"]["value"], 50, 1e-9);
  EXPECT_GT(shapes[2]["length"]["sigma"], 0.005) << "no better than the pointing";
  EXPECT_LT(shapes[2]["length"]["sigma"], 0.1);
  const json placement = json::parse(std::ifstream(out() / "placement.json"));
  EXPECT_GT(placement["scale_sigma_share"], 0);
  EXPECT_LT(placement["scale_sigma_share"], 0.002) << "four boards tens of metres apart";
}

// Ground offset of a frame's pixel from the point below the camera: to the right and the way that the camera
// looks, by the truth.
std::array<double, 2> true_offset_m(const json& truth, const json& frame, cv::Point2d pixel) {
  const json& c = truth["camera"];
  const cv::Matx33d lens(c["fx_px"], 0, c["cx_px"], 0, c["fy_px"], c["cy_px"], 0, 0, 1);
  std::vector<cv::Point2d> straight;
  cv::undistortPoints(std::vector<cv::Point2d>{pixel}, straight, lens,
                      std::vector<double>{c["k1"], c["k2"], c["p1"], c["p2"], c["k3"]});
  const auto r = frame["rotation"].get<std::vector<double>>();
  const cv::Matx33d world_from_camera(r.data());
  const cv::Vec3d ray = world_from_camera * cv::Vec3d(straight[0].x, straight[0].y, 1), up(0, 0, 1);
  const cv::Vec3d axis = world_from_camera * cv::Vec3d(0, 0, 1),
                  ahead = cv::normalize(axis - axis.dot(up) * up), right = ahead.cross(up);
  const cv::Vec3d offset = ray * (frame["height_m"].get<double>() / -ray[2]);
  return {offset.dot(right), offset.dot(ahead)};
}

TEST_F(SampleFlight, AnObliqueIsLaidOntoTheGroundByItsHorizonAndAHeight) {
  const auto frame = std::find_if(truth_["frames"].begin(), truth_["frames"].end(),
                                  [](const json& f) { return f["file"] == "A038.jpg"; });
  ASSERT_NE(frame, truth_["frames"].end());
  const fs::path ground = sample_run().folder.path() / "ground",
                 calibration = sample_run().folder.path() / "camera.yml";
  const json& c = truth_["camera"];
  std::ofstream(calibration) << fmt::format(
      "%YAML:1.0\n---\nimage_width: {}\nimage_height: {}\ncamera_matrix: [ {}, 0., {}, 0., {}, {}, 0., 0., "
      "1. ]\ndistortion_coefficients: [ {}, {}, {}, {}, {} ]\n",
      c["width_px"].get<int>(), c["height_px"].get<int>(), c["fx_px"].get<double>(), c["cx_px"].get<double>(),
      c["fy_px"].get<double>(), c["cy_px"].get<double>(), c["k1"].get<double>(), c["k2"].get<double>(),
      c["p1"].get<double>(), c["p2"].get<double>(), c["k3"].get<double>());
  const ProgramRun run = run_lookdown(
      {"rectify", (sample_frames() / "A038.jpg").string(), "-o", ground.string(), "--camera-file",
       calibration.string(), "--camera-height-m", fmt::format("{}", (*frame)["height_m"].get<double>())});
  ASSERT_EQ(run.exit_code, 0) << run.errors;
  EXPECT_THAT(run.output, ::testing::HasSubstr("rectified/"));
  std::ifstream world(ground / "rectified" / "A038.tfw");
  double gsd = 0, none = 0, down = 0, left = 0, top = 0;
  world >> gsd >> none >> none >> down >> left >> top;
  const cv::Mat picture = cv::imread((ground / "rectified" / "A038.tif").string(), cv::IMREAD_UNCHANGED);
  ASSERT_FALSE(picture.empty());
  double nearest = 1e9;
  for (int x = 0; x <= 1599; ++x)
    nearest = std::min(nearest, true_offset_m(truth_, *frame, {static_cast<double>(x), 1066})[1]);
  EXPECT_NEAR(top - picture.rows * gsd, nearest, 0.015 * (*frame)["height_m"].get<double>());
}

// GDAL's own validation of the Cloud Optimized GeoTIFF layout, as python3-gdal carries it.
TEST_F(SampleFlight, GdalsValidationAcceptsTheRasters) {
  for (const char* raster : {"mosaic.tif", "mosaic_sources.tif", "mosaic_glare.tif"}) {
    const fs::path verdict = sample_run().folder.path() / "verdict.txt";
    const std::string command = "/usr/bin/python3 -m osgeo_utils.samples.validate_cloud_optimized_geotiff '" +
                                (out() / raster).string() + "' > '" + verdict.string() + "' 2>&1";
    EXPECT_EQ(std::system(command.c_str()), 0) << bytes_of(verdict);
  }
}

TEST_F(SampleFlight, SourcesNameOnlyPlacedFramesAndCoverWhatTheMosaicCovers) {
  const GDALDatasetUniquePtr sources(
      GDALDataset::Open((out() / "mosaic_sources.tif").c_str(), GDAL_OF_RASTER | GDAL_OF_READONLY));
  const GDALDatasetUniquePtr mosaic(
      GDALDataset::Open((out() / "mosaic.tif").c_str(), GDAL_OF_RASTER | GDAL_OF_READONLY));
  ASSERT_TRUE(sources && mosaic);
  const int width = mosaic->GetRasterXSize(), height = mosaic->GetRasterYSize();
  ASSERT_EQ(sources->GetRasterXSize(), width);
  ASSERT_EQ(sources->GetRasterYSize(), height);
  const json placement = json::parse(std::ifstream(out() / "placement.json"));
  std::vector<std::uint16_t> index(static_cast<std::size_t>(width));
  std::vector<std::uint8_t> alpha(static_cast<std::size_t>(width));
  for (int row = 0; row < height; row += 37) {
    ASSERT_EQ(sources->GetRasterBand(1)->RasterIO(GF_Read, 0, row, width, 1, index.data(), width, 1,
                                                  GDT_UInt16, 0, 0),
              CE_None);
    ASSERT_EQ(
        mosaic->GetRasterBand(4)->RasterIO(GF_Read, 0, row, width, 1, alpha.data(), width, 1, GDT_Byte, 0, 0),
        CE_None);
    for (std::size_t x = 0; x < index.size(); ++x) {
      ASSERT_TRUE(index[x] == 65535 || index[x] < placement["frames"].size());
      ASSERT_TRUE(alpha[x] != 255 || index[x] != 65535) << "row " << row << " column " << x;
    }
  }
}

TEST_F(SampleFlight, MasksHaveTheSizeOfTheFrameAsStoredAndAreNotWrittenEmpty) {
  int written = 0;
  for (const json& frame : truth_["frames"]) {
    const std::string stem = fs::path(frame["file"].get<std::string>()).stem();
    for (const char* ending : {"_glare.png", "_water.png"}) {
      const fs::path file = out() / "masks" / (stem + ending);
      if (!fs::exists(file)) continue;
      ++written;
      const cv::Mat mask = cv::imread(file.string(), cv::IMREAD_UNCHANGED);
      ASSERT_FALSE(mask.empty()) << file;
      EXPECT_EQ(mask.type(), CV_8UC1);
      EXPECT_EQ(mask.cols, truth_["camera"]["width_px"].get<int>());
      EXPECT_EQ(mask.rows, truth_["camera"]["height_px"].get<int>());
      EXPECT_GT(cv::countNonZero(mask), 0) << file;
    }
  }
  EXPECT_GT(written, 0);
}

TEST_F(SampleFlight, SecondRunTakesItsMeasurementsFromTheCacheAndEndsTheSame) {
  const auto bytes = [](const fs::path& file) {
    std::ifstream stream(file, std::ios::binary);
    return std::string(std::istreambuf_iterator<char>(stream), {});
  };
  const std::string table = bytes(out() / "frames.csv"), placement = bytes(out() / "placement.json"),
                    mosaic = bytes(out() / "mosaic.tif");
  const ProgramRun again =
      run_lookdown({"run", sample_frames().string(), "-o", out().string(), "--control-file",
                    (sample_frames() / "control.csv").string(), "--marks-file",
                    (sample_frames() / "marks.csv").string(), "--threads", "1"});
  EXPECT_EQ(again.exit_code, 0) << again.errors;
  EXPECT_EQ(bytes(out() / "frames.csv"), table);
  EXPECT_EQ(bytes(out() / "placement.json"), placement);
  EXPECT_EQ(bytes(out() / "mosaic.tif"), mosaic);
  const json record = json::parse(std::ifstream(out() / "flight.json"));
  for (const json& timing : record["timings"])
    EXPECT_TRUE(timing["stage"] != "measure" || timing["from_cache"] == timing["done"]);
}

}  // namespace
}  // namespace lookdown
