// Published and derivable values for colour, files and measures of the mosaic.
#include <cpl_vsi.h>
#include <gdal_priv.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <ogr_spatialref.h>
#include <array>
#include <cmath>
#include <filesystem>
#include <memory>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <regex>
#include <sstream>

#include "stages/mosaic/output/ground_overlay.h"
#include "stages/mosaic/output/raster_file.h"
#include "stages/mosaic/output/world_file.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "tests/bench/mosaic/against_truth.h"

namespace lookdown::mosaic {
namespace {

// Brown & Lowe, IJCV 74:59-73 (2007), eq. 29 with sigma_N = 10, sigma_g = 0.1, two frames with overlap means
// 100 and 120 (derived: the two normal equations solved by hand).
TEST(Published, GainCompensation) {
  Eigen::Matrix2d counts, means;
  counts << 0, 500, 500, 0;
  means << 0, 100, 120, 0;
  const Eigen::VectorXd gains = overlap_gains(counts, means, 10, 0.1);
  EXPECT_NEAR(gains[0], 1.0680272, 1e-6);
  EXPECT_NEAR(gains[1], 0.9183673, 1e-6);
}

// IEC 61966-2-1: the two branches meet at 0.04045; mid grey 0.214041 for code value 0.5 (derived).
TEST(Published, SrgbCurve) {
  EXPECT_NEAR(linear_from_srgb(127.5), 0.214041, 1e-6);
  EXPECT_NEAR(linear_from_srgb(255), 1, 1e-12);
}

// GDAL's documentation of the world file: lines 60, 0, 0, -60, 440750, 3751290 for a file whose top-left
// corner is (440720, 3751320).
TEST(Published, WorldFileGivesTheCentreOfTheFirstPixel) {
  std::istringstream lines(world_file({440720, 60, 0, 3751320, 0, -60}));
  const double expected[] = {60, 0, 0, -60, 440750, 3751290};
  for (const double value : expected) {
    double found = 0;
    lines >> found;
    EXPECT_DOUBLE_EQ(found, value);
  }
}

TEST(Published, WorldFileOfAReducedCopyKeepsTheCorner) {
  std::istringstream lines(world_file({440720, 60, 0, 3751320, 0, -60}, 4, 4));
  double x_size, a, b, y_size, x, y;
  lines >> x_size >> a >> b >> y_size >> x >> y;
  EXPECT_DOUBLE_EQ(x - 0.5 * x_size, 440720);
  EXPECT_DOUBLE_EQ(y - 0.5 * y_size, 3751320);
}

// Sharma, Wu & Dalal, Color Res. Appl. 30:21-30 (2005), table 1, pairs 1, 7, 17 and 34.
TEST(Published, Ciede2000) {
  EXPECT_NEAR(bench::ciede2000({50, 2.6772, -79.7751}, {50, 0, -82.7485}), 2.0425, 1e-4);
  EXPECT_NEAR(bench::ciede2000({50, 0, 0}, {50, -1, 2}), 2.3669, 1e-4);
  EXPECT_NEAR(bench::ciede2000({50, 2.5, 0}, {73, 25, -18}), 27.1492, 1e-4);
  EXPECT_NEAR(bench::ciede2000({2.0776, 0.0795, -1.1350}, {0.9033, -0.0636, -0.5514}), 0.9082, 1e-4);
}

class Files : public testing::Test {
 protected:
  Files()
      : folder(std::filesystem::temp_directory_path() / ("lookdown-files-" + std::to_string(::getpid()))) {
    std::filesystem::create_directories(folder);
  }
  ~Files() override { std::filesystem::remove_all(folder); }
  void write_square(const char* crs, double x, double y, double side_m) {
    Canvas canvas;
    canvas.width_px = canvas.height_px = 600;
    canvas.crs = crs;
    canvas.geotransform = {x, side_m / 600, 0, y, 0, -side_m / 600};
    RasterFile file(folder / "mosaic.tif", canvas, {});
    file.write({0, 0, 600, 600}, cv::Mat(600, 600, CV_8UC4, cv::Scalar(10, 200, 30, 255)));
    file.finish("deflate", 2);
  }
  std::filesystem::path folder;
};

// GeographicLib's documentation: 33.3 N 44.4 E is 38N 444140.54 3684706.36.
TEST_F(Files, GroundOverlayLiesWhereTheMapProjectionPutsIt) {
  write_square("EPSG:32638", 444140.54, 3684706.36, 60);
  write_ground_overlay(folder / "mosaic.tif", folder / "mosaic.kmz", "Reeds & <ponds>", "2025-05-14");
  GDALAllRegister();
  std::string text;
  char** names = VSIReadDirRecursive(("/vsizip/" + (folder / "mosaic.kmz").string()).c_str());
  for (char** name = names; name != nullptr && *name != nullptr; ++name) {
    const std::string file = *name;
    if (file.size() < 4 || file.substr(file.size() - 4) != ".kml") continue;
    GByte* bytes = nullptr;
    vsi_l_offset size = 0;
    ASSERT_TRUE(VSIIngestFile(nullptr, ("/vsizip/" + (folder / "mosaic.kmz").string() + "/" + file).c_str(),
                              &bytes, &size, -1));
    text += std::string(reinterpret_cast<char*>(bytes), size);
    VSIFree(bytes);
  }
  CSLDestroy(names);
  const auto edge = [&](const char* name, bool largest) {
    double best = largest ? -1e9 : 1e9;
    const std::regex tag(std::string("<") + name + ">([-0-9.]+)</");
    for (std::sregex_iterator match(text.begin(), text.end(), tag), end; match != end; ++match)
      best = largest ? std::max(best, std::stod((*match)[1])) : std::min(best, std::stod((*match)[1]));
    return best;
  };
  // The square's top-left corner, to a metre: 1e-5 degrees; no rotation is left to describe.
  EXPECT_NEAR(edge("north", true), 33.3, 1e-5);
  EXPECT_NEAR(edge("west", false), 44.4, 1e-5);
  // 60 m south and east, by 111.1 km and 93.1 km a degree at 33.3 N (WGS 84, derived).
  EXPECT_NEAR(edge("south", false), 33.3 - 60 / 110910.0, 2e-5);
  EXPECT_NEAR(edge("east", true), 44.4 + 60 / 93143.0, 2e-5);
  EXPECT_EQ(text.find("<rotation>"), std::string::npos);
  // OGC KML 2.3: a feature's name and description are what a viewer shows of it.
  EXPECT_NE(text.find("<name>Reeds &amp; &lt;ponds&gt;</name>"), std::string::npos);
  EXPECT_NE(text.find("<description>2025-05-14</description>"), std::string::npos);
}

/// A picture and where its corners lie: lower left, lower right, upper right, upper left; longitude and
/// latitude.
struct Overlay {
  cv::Mat picture;
  std::array<cv::Point2d, 4> corners;
  [[nodiscard]] cv::Point2d at(double right, double down) const {
    return (corners[3] * (1 - right) + corners[2] * right) * (1 - down) +
           (corners[0] * (1 - right) + corners[1] * right) * down;
  }
};

/// Every ground overlay of a KMZ file, its picture decoded, read by the rules of OGC KML 2.3 (12-007r2), 9.9
/// to 9.11: an Icon's href is relative to the document; the corners of LatLonQuad are those of the picture,
/// not the centres of its outer pixels, counter-clockwise from the lower left.
std::vector<Overlay> overlays_in(const std::string& kmz) {
  const auto content = [&](const std::string& name) {
    GByte* bytes = nullptr;
    vsi_l_offset size = 0;
    std::string text;
    if (VSIIngestFile(nullptr, ("/vsizip/" + kmz + "/" + name).c_str(), &bytes, &size, -1))
      text.assign(reinterpret_cast<char*>(bytes), size);
    VSIFree(bytes);
    return text;
  };
  std::vector<Overlay> overlays;
  char** names = VSIReadDirRecursive(("/vsizip/" + kmz).c_str());
  for (char** name = names; name != nullptr && *name != nullptr; ++name) {
    const std::filesystem::path document(*name);
    if (document.extension() != ".kml") continue;
    const std::string text = content(document);
    const std::regex element(
        "<GroundOverlay>[^]*?<href>([^<]*)</href>[^]*?LatLonQuad>\\s*<coordinates>([^<]*)</"
        "coordinates>[^]*?</GroundOverlay>");
    for (std::sregex_iterator match(text.begin(), text.end(), element), end; match != end; ++match) {
      const std::string picture =
          content((document.parent_path() / std::string((*match)[1])).lexically_normal());
      Overlay overlay{cv::imdecode(std::vector<char>(picture.begin(), picture.end()), cv::IMREAD_COLOR), {}};
      std::istringstream coordinates((*match)[2]);
      char comma = 0;
      double height = 0;
      for (cv::Point2d& corner : overlay.corners)
        coordinates >> corner.x >> comma >> corner.y >> comma >> height;
      overlays.push_back(overlay);
    }
  }
  CSLDestroy(names);
  return overlays;
}

// A grid 2.9 degrees west of its zone's central meridian is turned against true north by 2.9 sin(33.3) = 1.59
// degrees (derived): a mark in its corner would lie 15 pixels off if the overlay were laid north up unturned,
// twice that if turned the wrong way. Where the mark belongs is PROJ's answer.
TEST_F(Files, AMarkInTheGroundOverlayLiesWhereTheMapProjectionPutsIt) {
  GDALAllRegister();
  constexpr double kWest = 230000, kNorth = 3688000, kSideM = 0.5;
  constexpr int kSize = 600;
  const cv::Rect mark(510, 66, 30, 30);
  Canvas canvas;
  canvas.width_px = canvas.height_px = kSize;
  canvas.crs = "EPSG:32638";
  canvas.geotransform = {kWest, kSideM, 0, kNorth, 0, -kSideM};
  {
    RasterFile file(folder / "mosaic.tif", canvas, {});
    cv::Mat picture(kSize, kSize, CV_8UC4, cv::Scalar(20, 20, 20, 255));
    picture(mark).setTo(cv::Scalar(250, 250, 250, 255));
    file.write({0, 0, kSize, kSize}, picture);
    file.finish("deflate", 2);
  }
  write_ground_overlay(folder / "mosaic.tif", folder / "mosaic.kmz", "Reeds & <ponds>", "2025-05-14");

  OGRSpatialReference zone, degrees;
  zone.importFromEPSG(32638);
  degrees.importFromEPSG(4326);
  degrees.SetAxisMappingStrategy(OAMS_TRADITIONAL_GIS_ORDER);
  const std::unique_ptr<OGRCoordinateTransformation> projection(
      OGRCreateCoordinateTransformation(&zone, &degrees));
  double east = kWest + (mark.x + 0.5 * mark.width) * kSideM,
         north = kNorth - (mark.y + 0.5 * mark.height) * kSideM;
  ASSERT_TRUE(projection->Transform(1, &east, &north));

  int told = 0;
  for (const Overlay& overlay : overlays_in((folder / "mosaic.kmz").string())) {
    ASSERT_FALSE(overlay.picture.empty());
    cv::Mat grey;
    cv::extractChannel(overlay.picture, grey, 1);
    const cv::Moments moments = cv::moments(grey > 135, true);
    const cv::Point2d rim =
        overlay.corners[3] - overlay.corners[0];  // 110.9 and 93.1 km a degree at 33.3 N (WGS 84, derived)
    const double pixel_m = std::hypot(rim.x * 93143, rim.y * 110910) / overlay.picture.rows;
    if (moments.m00 * pixel_m * pixel_m < 0.8 * mark.area() * kSideM * kSideM)
      continue;  // another tile, or a part of the mark only
    const cv::Point2d found = overlay.at((moments.m10 / moments.m00 + 0.5) / overlay.picture.cols,
                                         (moments.m01 / moments.m00 + 0.5) / overlay.picture.rows);
    // A third of a pixel, and what six decimals of a degree round off: a picture laid half a pixel off would
    // show.
    EXPECT_NEAR(found.x, east, 0.3 * pixel_m / 93143 + 0.6e-6);
    EXPECT_NEAR(found.y, north, 0.3 * pixel_m / 110910 + 0.6e-6);
    ++told;
  }
  EXPECT_GE(told, 1);
}

// Open Geospatial Consortium 21-026, Cloud Optimized GeoTIFF: tiles, overviews, and the layout that GDAL
// states.
TEST_F(Files, MosaicIsACloudOptimizedGeoTiff) {
  write_square("EPSG:32638", 444140.54, 3684706.36, 60);
  GDALAllRegister();
  GDALDataset* file = GDALDataset::Open((folder / "mosaic.tif").c_str());
  ASSERT_NE(file, nullptr);
  EXPECT_STREQ(file->GetMetadataItem("LAYOUT", "IMAGE_STRUCTURE"), "COG");
  EXPECT_EQ(file->GetRasterCount(), 4);
  EXPECT_EQ(file->GetRasterBand(4)->GetColorInterpretation(), GCI_AlphaBand);
  EXPECT_GE(file->GetRasterBand(1)->GetOverviewCount(), 1);
  double transform[6];
  ASSERT_EQ(file->GetGeoTransform(transform), CE_None);
  EXPECT_DOUBLE_EQ(transform[0], 444140.54);
  EXPECT_DOUBLE_EQ(transform[3], 3684706.36);
  EXPECT_NE(file->GetSpatialRef(), nullptr);
  uchar pixel[4];
  ASSERT_EQ(file->RasterIO(GF_Read, 300, 300, 1, 1, pixel, 1, 1, GDT_Byte, 4, nullptr, 1, 4, 1, nullptr),
            CE_None);
  EXPECT_EQ(pixel[1], 200);
  GDALClose(file);
}

}  // namespace
}  // namespace lookdown::mosaic
