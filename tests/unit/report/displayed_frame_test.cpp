#include <gtest/gtest.h>

#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "stages/report/pictures/displayed_frame.h"

namespace lookdown::report {
namespace {

FrameSource source_of(int orientation, int width_px = 12, int height_px = 8) {
  FrameSource source;
  source.width_px = width_px;
  source.height_px = height_px;
  source.orientation = orientation;
  return source;
}

class EveryOrientation : public testing::TestWithParam<int> {};
INSTANTIATE_TEST_SUITE_P(Exif, EveryOrientation, testing::Range(1, 9));

TEST_P(EveryOrientation, PositionsGoWherePixelsGo) {
  const FrameSource source = source_of(GetParam());
  const DisplayedFrame displayed(source);
  cv::Mat stored = cv::Mat::zeros(source.height_px, source.width_px, CV_8UC1);
  stored.at<std::uint8_t>(2, 9) = 255;
  const cv::Mat shown = turned_for_display(stored, source.orientation);
  ASSERT_EQ(shown.cols, displayed.width_px());
  ASSERT_EQ(shown.rows, displayed.height_px());
  const DisplayedShare share = displayed.share(Point2<StoredPx>{9, 2});
  EXPECT_EQ(255, shown.at<std::uint8_t>(cv::Point(static_cast<int>(share.x * shown.cols),
                                                  static_cast<int>(share.y * shown.rows))));
}

TEST_P(EveryOrientation, DirectionsTurnWithTheFrame) {
  const FrameSource source = source_of(GetParam(), 1000, 1000);
  const DisplayedFrame displayed(source);
  const double stored_deg = 30;
  const double angle = stored_deg * CV_PI / 180;
  const DisplayedShare from = displayed.share(Point2<StoredPx>{500, 500});
  const DisplayedShare to =
      displayed.share(Point2<StoredPx>{500 + 100 * std::cos(angle), 500 - 100 * std::sin(angle)});
  const double expected = std::fmod(std::atan2(from.y - to.y, to.x - from.x) * 180 / CV_PI + 360, 180);
  EXPECT_NEAR(expected, displayed.axis_deg(stored_deg), 1e-9);
}

// CIPA DC-008 (Exif), tag Orientation: the displayed corner on which row 0 and column 0 of the stored picture
// meet.
TEST_P(EveryOrientation, FirstPixelGoesToTheCornerThatExifNames) {
  const std::array<std::pair<bool, bool>, 9> right_and_bottom{{{},
                                                               {false, false},
                                                               {true, false},
                                                               {true, true},
                                                               {false, true},
                                                               {false, false},
                                                               {true, false},
                                                               {true, true},
                                                               {false, true}}};
  const DisplayedShare share = DisplayedFrame(source_of(GetParam())).share(Point2<StoredPx>{-0.5, -0.5});
  EXPECT_EQ(right_and_bottom[GetParam()].first ? 1 : 0, share.x);
  EXPECT_EQ(right_and_bottom[GetParam()].second ? 1 : 0, share.y);
}

// npm exif 0.6.0 carries pictures stored turned; OpenCV's own reader, which obeys Exif, is the reference.
class TurnedPicture : public testing::TestWithParam<std::pair<const char*, int>> {};
INSTANTIATE_TEST_SUITE_P(NpmExif, TurnedPicture,
                         testing::Values(std::pair{"right.jpg", 8}, std::pair{"down-mirrored.jpg", 4}));

TEST_P(TurnedPicture, LooksAsAnotherReaderShowsIt) {
  const auto& [name, orientation] = GetParam();
  const std::string file = std::string(LOOKDOWN_NODE_MODULES) + "/exif/test/" + name;
  const cv::Mat reference = cv::imread(file, cv::IMREAD_COLOR);
  if (reference.empty()) FAIL() << file << " is not installed; tests/run_all installs it";
  const cv::Mat stored = cv::imread(file, cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  bool same_for_some = false;
  for (int candidate = 1; candidate <= 8; ++candidate) {
    const cv::Mat shown = turned_for_display(stored, candidate);
    const bool same = shown.size() == reference.size() && cv::norm(shown, reference, cv::NORM_INF) == 0;
    EXPECT_TRUE(same || candidate != orientation) << "orientation " << candidate;
    same_for_some |= same;
  }
  EXPECT_TRUE(same_for_some);
}

}  // namespace
}  // namespace lookdown::report
