// One spot of ground seen in several frames: the bottom stays, glare moves. Private to the stage (and its
// tests and benchmark).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/pixel_spaces.h"
#include "pipeline/geometry/pose.h"
#include "pipeline/record/flight_record.h"
#include "stages/glare/added_light.h"
#include "stages/glare/glare_search.h"

namespace lookdown::glare {

/// A frame as the comparison sees it: working size, with the single-frame search's answers.
struct SearchedFrame {
  cv::Mat bgr;         ///< CV_8UC3, working size
  cv::Mat water;       ///< CV_8UC1, chance x 255
  cv::Mat glare;       ///< CV_8UC1, chance x 255
  cv::Mat limit = {};  ///< CV_8UC1: stored brightness above which a pixel is glare by this frame alone
  cv::Mat base = {};   ///< CV_8UC1: stored brightness of the water without what it mirrors
  cv::Mat dark = {};   ///< CV_8UC3, stretched over the picture: the dark side of the water around, as stored
  cv::Mat field = {};  ///< CV_8UC1, stretched over the picture: 255 where waves can mirror the sun; empty:
                       ///< not known
};

/// The single-frame search of a picture, kept small.
[[nodiscard]] SearchedFrame searched_frame(const cv::Mat& bgr, const GlintPrior& prior = {});

/// Lays `other` over the frame `own`: every plane resampled into own's working pixels.
struct OverlaidView {
  cv::Mat bgr, water, glare;  ///< as SearchedFrame
  cv::Mat seen;               ///< CV_8UC1, 255 where the other frame looks
  cv::Mat field = {};         ///< CV_8UC1, as SearchedFrame, own's working size
};
struct PlacedCamera {
  Camera camera;
  Homography<MosaicPx, UndistortedPx> mosaic_from_frame;
  Pose pose;
};
[[nodiscard]] OverlaidView overlay(const SearchedFrame& other, const PlacedCamera& other_place,
                                   const PlacedCamera& own_place, cv::Size own_size);

/// What a frame shows beyond what the other views show of the same ground, own's working size. Views that
/// look at the spot away from where waves mirror the sun tell what lies below; where all look into the
/// glitter, the dark side of the water around in the frame itself does, unless the spot is bright in all of
/// several views.
struct ViewExcess {
  AddedLight added;
  cv::Mat water;  ///< CV_32FC1, chance of water agreed over the views
  cv::Mat views;  ///< CV_8UC1, number of other views of each pixel
};
[[nodiscard]] ViewExcess excess_over_views(const SearchedFrame& own, const std::vector<OverlaidView>& others);

/// Answers of the comparison, own's working size.
struct ComparedFrame {
  cv::Mat limit;  ///< CV_8UC1: stored brightness above which a pixel is glare, where it is water
  cv::Mat water;  ///< CV_32FC1 chance, agreed over the views
  cv::Mat glare;  ///< CV_32FC1 chance
  cv::Mat views;  ///< CV_8UC1, number of other views of each pixel
};
/// `others` holds the overlaid views (at least one). Where no other view looks, the single-frame answer
/// stays. `prior`: where waves can mirror the sun at all.
[[nodiscard]] ComparedFrame compare_views(const SearchedFrame& own, const std::vector<OverlaidView>& others,
                                          const GlintPrior& prior = {});

/// Share of frame `a` that frame `b` covers, from their outlines on the mosaic; 0 when an outline is not
/// convex and finite.
[[nodiscard]] double covered_share(const PlacedCamera& a, const PlacedCamera& b);

/// Where the frames of `members` (indices into the record, all of them placed) lie, in that order.
[[nodiscard]] std::vector<PlacedCamera> placed_cameras(const FlightRecord&, const std::vector<int>& members);

/// For each frame, at most `most` others that tell most about it: large common ground, different standpoints.
[[nodiscard]] std::vector<std::vector<int>> choose_views(const std::vector<PlacedCamera>& frames, int most);

}  // namespace lookdown::glare
