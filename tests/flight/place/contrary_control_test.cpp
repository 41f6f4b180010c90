// Control points whose names were exchanged: the scale must not be called known. Marks are the painter's
// truth, projected by OpenCV's cv::projectPoints.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>

#include "placed_flight.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;

constexpr double kMetresPerUnit = 0.03;

class ContraryControl : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    SmallFlight f;
    f.flight.seed = f.site.seed = 33;
    f.take_into(folder_->path() / "frames");
    const cv::Size2d extent = painted::covered(f.flight);
    const double w = extent.width, h = extent.height;
    points_ = {{{"P1", {0.3 * w, 0.3 * h, 0}},
                {"P2", {0.7 * w, 0.32 * h, 0}},
                {"P3", {0.68 * w, 0.7 * h, 0}},
                {"P4", {0.31 * w, 0.68 * h, 0}}}};
    write_marks();
  }
  static void TearDownTestSuite() { folder_.reset(); }

  /// Places the flight by control points called `names` in place of P1 .. P4.
  static FlightRecord place_by(const std::array<std::string, 4>& names) {
    const fs::path file = folder_->path() / "control.csv";
    {
      std::ofstream out(file);
      out << "name,x,y,z\n";
      for (std::size_t i = 0; i < names.size(); ++i)
        out << names[i] << ',' << points_[i].second.x * kMetresPerUnit << ','
            << points_[i].second.y * kMetresPerUnit << ",0\n";
    }
    place::Options options;
    options.control_file = file.string();
    options.marks_file = (folder_->path() / "marks.csv").string();
    return place_folder(folder_->path() / "frames", folder_->path() / "out", options);
  }

 private:
  static void write_marks() {
    const auto truth = nlohmann::json::parse(std::ifstream(folder_->path() / "frames/truth.json"));
    const auto& c = truth["camera"];
    const double width = c["width_px"], height = c["height_px"];
    const cv::Matx33d camera(c["fx_px"], 0, c["cx_px"], 0, c["fy_px"], c["cy_px"], 0, 0, 1);
    const std::array<double, 5> lens{c.value("k1", 0.0), c.value("k2", 0.0), c.value("p1", 0.0),
                                     c.value("p2", 0.0), c.value("k3", 0.0)};
    std::ofstream out(folder_->path() / "marks.csv");
    out << "file,name,x_px,y_px\n";
    for (const auto& frame : truth["frames"]) {
      cv::Matx33d world_from_camera;
      for (int i = 0; i < 9; ++i) world_from_camera(i / 3, i % 3) = frame["rotation"][std::size_t(i)];
      const auto& at = frame["centre_m"];
      const cv::Matx33d turn = world_from_camera.t();
      const cv::Vec3d shift = -(turn * cv::Vec3d(at[0], at[1], at[2]));
      cv::Vec3d turn_vector;
      cv::Rodrigues(turn, turn_vector);
      for (const auto& [name, world] : points_) {
        std::vector<cv::Point2d> seen;
        cv::projectPoints(std::vector<cv::Point3d>{world}, turn_vector, shift, camera, lens, seen);
        if (seen[0].x > 5 && seen[0].y > 5 && seen[0].x < width - 6 && seen[0].y < height - 6)
          out << frame["file"].get<std::string>() << ',' << name << ',' << seen[0].x << ',' << seen[0].y
              << '\n';
      }
    }
  }
  inline static std::unique_ptr<TemporaryFolder> folder_;
  inline static std::array<std::pair<std::string, cv::Point3d>, 4> points_;
};

TEST_F(ContraryControl, RightNamesGiveAScaleWithoutAWord) {
  const FlightRecord flight = place_by({"P1", "P2", "P3", "P4"});
  EXPECT_EQ(flight.placement.scale_from, "control");
  EXPECT_LT(flight.placement.scale_sigma_share.value_or(1), 0.01);
  EXPECT_THAT(flight.warnings, ::testing::Not(::testing::Contains(::testing::HasSubstr("contradict"))));
}

// No similarity takes a square's corners to the same with two of them exchanged: what the fit leaves is of
// the size of the site, and so is the doubt about its scale.
TEST_F(ContraryControl, ExchangedNamesAreToldAndTheScaleIsInDoubt) {
  const FlightRecord flight = place_by({"P2", "P1", "P3", "P4"});
  EXPECT_GT(flight.placement.scale_sigma_share.value_or(0), 0.1);
  EXPECT_THAT(flight.warnings, ::testing::Contains(::testing::HasSubstr("contradict")));
}

}  // namespace
}  // namespace lookdown
