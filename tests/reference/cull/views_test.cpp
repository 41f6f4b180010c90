// What a frame looks at, told from pictures that packages carry (lomiri-wallpapers-16.04 and npm exif for
// skies), from the sample flight's frames at launch, and from what a lens cap leaves: black and a sensor's
// noise.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>

#include "stages/cull/cull.h"
#include "unit/cull/test_pictures.h"

namespace lookdown {
namespace {

const std::filesystem::path kSampleFrames = std::string(LOOKDOWN_SOURCE_DIR) + "/sample_frames";

cv::Mat read_picture(const std::filesystem::path& path) {
  EXPECT_TRUE(std::filesystem::exists(path)) << path << " is missing; the test command installs it";
  return cv::imread(path.string(), cv::IMREAD_COLOR);
}

Decision alone(const cv::Mat& bgr) {
  FlightRecord flight;
  flight.frames.push_back(test::record_of(bgr, "frame.png"));
  cull::decide(flight, {});
  return flight.frames[0].decision;
}

TEST(ViewOfAFrame, BehindALensCapIsOther) {
  for (const double noise : {0.0, 1.0, 3.0}) {
    cv::Mat dark = test::noisy(cv::Mat(600, 900, CV_32F, cv::Scalar(1)), noise, 5), bytes, bgr;
    dark.convertTo(bytes, CV_8U);
    cv::cvtColor(bytes, bgr, cv::COLOR_GRAY2BGR);
    const Decision decision = alone(bgr);
    EXPECT_EQ(decision.view, View::other) << noise;
    EXPECT_EQ(decision.verdict, Verdict::drop) << noise;
  }
}

TEST(ViewOfAFrame, OfTheSkyAloneIsOther) {
  const cv::Mat estuary = read_picture("/usr/share/backgrounds/Bridge_by_Sander_Klootwijk.jpg");
  const cv::Mat dusk =
      read_picture(std::filesystem::path(LOOKDOWN_NODE_MODULES) / "exif/test/sony-alpha-6000.jpg");
  ASSERT_FALSE(estuary.empty() || dusk.empty());
  for (const cv::Mat& whole : {estuary, dusk}) {
    const Decision decision = alone(whole(cv::Rect(0, 0, whole.cols, whole.rows / 5)));
    EXPECT_EQ(decision.view, View::other) << whole.size();
    EXPECT_NE(decision.verdict, Verdict::keep) << whole.size();
  }
}

// Debian lomiri-wallpapers-16.04: clouds on blue, a mountain sky, the sky about a low sun.
TEST(ViewOfAFrame, OfBrokenCloudsIsOther) {
  struct Part {
    const char* name;
    double x, y, width, height;  // shares of the picture
  };
  for (const Part& part : {Part{"Bridge_by_Sander_Klootwijk.jpg", 0, 0, 1, 0.5},
                           Part{"Bridge_by_Sander_Klootwijk.jpg", 0.4, 0.3, 0.5, 0.2},
                           Part{"picosdeeuropa_by_Aitzol_Berasategi.jpg", 0.05, 0, 0.9, 0.14},
                           Part{"sunset_by_Aitzol_Berasategi.jpg", 0, 0, 1, 0.35}}) {
    const cv::Mat whole = read_picture(std::string("/usr/share/backgrounds/") + part.name);
    ASSERT_FALSE(whole.empty());
    const cv::Mat sky = whole(
        cv::Rect(static_cast<int>(part.x * whole.cols), static_cast<int>(part.y * whole.rows),
                 static_cast<int>(part.width * whole.cols), static_cast<int>(part.height * whole.rows)));
    EXPECT_EQ(alone(sky).view, View::other) << part.name << " " << part.y;
  }
}

// Debian opencv-doc and python3-skimage: a hazy bluish town from above, a blue-grey wall of graffiti, gravel,
// grass.
TEST(ViewOfAFrame, OfTheGroundIsNotTakenForTheSky) {
  const std::string opencv = "/usr/share/doc/opencv-doc/examples/data/",
                    skimage = "/usr/lib/python3/dist-packages/skimage/data/";
  for (const std::string& path :
       {opencv + "aero1.jpg", opencv + "graf1.png", skimage + "gravel.png", skimage + "grass.png"}) {
    const cv::Mat ground = read_picture(path);
    ASSERT_FALSE(ground.empty());
    EXPECT_NE(alone(ground).view, View::other) << path;
  }
}

/// Frames of the sample flight by what they were taken as.
std::vector<std::string> sample_files(const std::string& kind, std::size_t most) {
  const auto truth = nlohmann::json::parse(std::ifstream(kSampleFrames / "truth.json"));
  std::vector<std::string> files;
  for (const auto& frame : truth["frames"])
    if (frame["kind"] == kind && files.size() < most) files.push_back(frame["file"]);
  return files;
}

/// A flight that begins with `first` and goes on over the sample site.
FlightRecord flight_after(const std::vector<cv::Mat>& first) {
  FlightRecord flight;
  const auto add = [&](const cv::Mat& bgr) {
    flight.frames.push_back(test::record_of(bgr, "F" + std::to_string(flight.frames.size()) + ".png"));
    flight.frames.back().info.taken_at_s = static_cast<double>(flight.frames.size());
  };
  for (const cv::Mat& bgr : first) add(bgr);
  for (const std::string& file : sample_files("nadir", 12)) add(read_picture(kSampleFrames / file));
  cull::Options options;
  options.keep_repeats = true;
  cull::decide(flight, options);
  return flight;
}

TEST(ViewOfAFrame, OfGrassBeforeTheStartIsOther) {
  std::vector<cv::Mat> first;
  for (const std::string& file : sample_files("launch", 2))
    first.push_back(read_picture(kSampleFrames / file));
  ASSERT_EQ(first.size(), 2U);
  const FlightRecord flight = flight_after(first);
  for (std::size_t i = 0; i < flight.frames.size(); ++i)
    EXPECT_EQ(flight.frames[i].decision.view, i < first.size() ? View::other : View::nadir) << i;
}

}  // namespace
}  // namespace lookdown
