// The table of camera positions: what it says goes before Exif, in metres or in longitude and latitude.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "stages/place/datum/datum.h"
#include "stages/place/place.h"

namespace lookdown::place {
namespace {

class CameraPositions : public testing::Test {
 protected:
  void SetUp() override {
    file_ = std::filesystem::path(testing::TempDir()) /
            (std::string("camera_positions_") +
             testing::UnitTest::GetInstance()->current_test_info()->name() + ".csv");
    for (const char* name : {"card/A1.jpg", "card/A2.jpg"}) {
      FrameRecord frame;
      frame.source.file = name;
      frame.info.position = GeoPosition{.lat_deg = 1, .lon_deg = 1, .altitude_m = 5, .direction_deg = {}};
      flight_.frames.push_back(frame);
    }
  }
  void TearDown() override { std::filesystem::remove(file_); }
  Options table(const std::string& text) const {
    std::ofstream(file_) << text;
    Options options;
    options.camera_positions = file_.string();
    return options;
  }
  std::filesystem::path file_;
  FlightRecord flight_;
};

TEST_F(CameraPositions, InMetresAreTakenAsTheyAre) {
  Options options = table("file,x,y,z,sigma_m\nA2.jpg,500123.25,5400001.5,88.5,0.03\n");
  options.control_crs = "EPSG:25832";
  std::string crs;
  const auto positions = map_positions(flight_, options, crs);
  EXPECT_EQ(crs, "EPSG:25832");
  ASSERT_EQ(positions.size(), 2U);
  EXPECT_FALSE(positions[0]) << "Exif's degrees do not mix with a table of metres";
  ASSERT_TRUE(positions[1]);
  EXPECT_DOUBLE_EQ(positions[1]->at.x(), 500123.25);
  EXPECT_DOUBLE_EQ(positions[1]->at.y(), 5400001.5);
  EXPECT_DOUBLE_EQ(positions[1]->height.value(), 88.5);
  EXPECT_DOUBLE_EQ(positions[1]->sigma_m, 0.03);
}

// On a zone's central meridian easting is 500000 m and the scale 0.9996; the meridian's arc from the equator
// to 45 degrees of the WGS 84 ellipsoid is 4984944.378 m (Snyder, Map Projections: A Working Manual, USGS
// Professional Paper 1395, eq. 3-21).
TEST_F(CameraPositions, InDegreesGoBeforeExif) {
  std::string crs;
  const auto positions =
      map_positions(flight_, table("file,lon,lat,alt\nA1.jpg,9,45,120\nA2.jpg,9,45,121\n"), crs);
  EXPECT_EQ(crs, "EPSG:32632");
  ASSERT_TRUE(positions[0]);
  EXPECT_NEAR(positions[0]->at.x(), 500000, 1e-3);
  EXPECT_NEAR(positions[0]->at.y(), 0.9996 * 4984944.378, 1e-2);
  EXPECT_DOUBLE_EQ(positions[1]->height.value(), 121);
}

TEST_F(CameraPositions, AMistakeIsNamed) {
  for (const char* text :
       {"file,x,y,z,sigma_m\nA1.jpg,1,2,3,0\n", "file,lon,lat,alt\nA1.jpg,1,91,3\n", "file,x,y,z\n"})
    EXPECT_THROW(check_camera_positions(table(text).camera_positions), std::runtime_error) << text;
  EXPECT_NO_THROW(check_camera_positions(table("file,x,y,z\nA1.jpg,1,2,3\n").camera_positions));
}

}  // namespace
}  // namespace lookdown::place
