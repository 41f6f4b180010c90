// Ground with relief, painted by a program that shares no code with this one and says how high it lies.
#include "stages/glare/across/seen_heights.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "painted_flight.h"
#include "painted_site.h"

namespace lookdown::glare {
namespace {

constexpr double kFlyingHeight = 500, kReliefHeight = 110;

// Four views of one valley from the corners of a square.
struct Valley {
  painted::Site site;
  std::vector<SearchedFrame> frames;
  std::vector<cv::Mat> pictures;
  std::vector<PlacedCamera> places;

  Valley() {
    painted::SiteChoice choice;
    choice.width = 1500;
    choice.height = 1300;
    choice.seed = 5;
    choice.relief = "valley";
    choice.relief_height = kReliefHeight;
    site = painted::paint_site(choice);
    const painted::PaintedCamera camera{640, 480, 520, 319.5, 239.5, 0, 0, 1};
    for (const double dx : {0.0, 190.0})
      for (const double dy : {0.0, 150.0}) {
        const painted::Shot shot =
            painted::shot("", {650 + dx, 575 + dy, kFlyingHeight + 0.05 * dx}, 0.1 + dx / 900, 0.03, -0.04);
        pictures.push_back(painted::take(site, camera, shot));
        PlacedCamera place;
        place.camera.width_px = camera.width_px;
        place.camera.height_px = camera.height_px;
        place.camera.fx_px = place.camera.fy_px = camera.focal_px;
        place.camera.cx_px = camera.cx_px;
        place.camera.cy_px = camera.cy_px;
        place.pose = {shot.world_from_camera, shot.centre};
        place.mosaic_from_frame.matrix = ground_from_frame(place.pose, place.camera).matrix;
        places.push_back(place);
        // The search in one frame takes all of this soil for water: the worst case.
        const cv::Mat all(pictures.back().size(), CV_8UC1, cv::Scalar(255)), none = ~all;
        frames.push_back(searched_frame(pictures.back(), all, none));
      }
  }

  [[nodiscard]] std::vector<PlacedView> others() const {
    std::vector<PlacedView> views;
    for (std::size_t k = 1; k < frames.size(); ++k) views.push_back({&frames[k], &places[k]});
    return views;
  }

  [[nodiscard]] cv::Mat heights() const {
    return seen_heights(frames[0], places[0], others(), {-0.4 * kFlyingHeight, 0.4 * kFlyingHeight});
  }

  // Where the ray of a pixel meets the painter's ground, by small steps down it.
  [[nodiscard]] double true_height(const Point2<StoredPx>& at) const {
    const Eigen::Vector3d along = places[0].pose.world_from_camera * places[0].camera.ray({at.x, at.y});
    Eigen::Vector3d p = places[0].pose.centre;
    while (p.z() > painted::ground_height(site, p.x(), p.y())) p += along;
    return p.z();
  }

  [[nodiscard]] double water_share(const cv::Mat& heights) const {
    const SightGrid grid(places[0], frames[0].bgr.size());
    std::vector<OverlaidView> laid;
    for (const PlacedView& other : others())
      laid.push_back(overlay(*other.frame, *other.place, grid, heights));
    const Motion motion = compare_detail(frames[0], places[0], others(), heights).motion(frames[0].bgr);
    const WorkingPicture picture = prepare(pictures[0]);
    const SurfaceLook look = surface_look(picture);
    const cv::Mat water =
        water_beyond_views(picture, look, usual_look(picture), compare_views(frames[0], laid), motion);
    return cv::countNonZero(water) / static_cast<double>(water.total());
  }
};

const Valley& valley() {
  static const Valley painted;
  return painted;
}

TEST(SeenHeights, AreThoseOfTheGround) {
  const cv::Mat heights = valley().heights();
  ASSERT_FALSE(heights.empty());
  std::vector<double> off;
  double lowest = 1e9, highest = -1e9;
  for (int row = 2; row + 2 < heights.rows; ++row)
    for (int column = 2; column + 2 < heights.cols; ++column) {
      const double truth = valley().true_height({column * 16 + 7.5, row * 16 + 7.5});
      lowest = std::min(lowest, truth), highest = std::max(highest, truth);
      off.push_back(std::abs(heights.at<float>(row, column) - truth));
    }
  ASSERT_GT(highest - lowest, 0.5 * kReliefHeight);
  std::sort(off.begin(), off.end());
  // A pixel of the copy that is compared is four of the frame: at a base of 240 over 500 some 8 units of
  // height.
  EXPECT_LT(off[off.size() / 2], 8);
  EXPECT_LT(off[off.size() * 9 / 10], 24);
}

TEST(SeenHeights, AreNotLookedForWithoutRelief) {
  EXPECT_TRUE(heights_to_look_at(FlightPlacement{}, valley().places[0]).flat());
  EXPECT_TRUE(seen_heights(valley().frames[0], valley().places[0], valley().others(), {}).empty());
  EXPECT_TRUE(seen_heights(valley().frames[0], valley().places[0], {}, {-100, 100}).empty());
}

// Laid over one another by the plane, views of the slopes match nowhere, as if they were water.
TEST(SeenHeights, GroundWithReliefIsNoWater) {
  EXPECT_LT(valley().water_share(valley().heights()), 0.05);
  EXPECT_GT(valley().water_share({}), 0.2);
}

}  // namespace
}  // namespace lookdown::glare
