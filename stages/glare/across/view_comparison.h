// One spot of ground seen in several frames: the bottom stays, glare moves, and so do waves. Private to the
// stage (and its tests and benchmark).
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/pixel_spaces.h"
#include "pipeline/geometry/pose.h"
#include "pipeline/record/flight_record.h"
#include "stages/glare/across/detail_match.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/water/learned_look.h"

namespace lookdown::glare {

/// A frame as the comparison sees it: half the working size, with the single-frame search's answers.
struct SearchedFrame {
  cv::Mat bgr;    ///< CV_8UC3
  cv::Mat water;  ///< CV_8UC1, share of the pixel that the search calls water x 255
  cv::Mat glint;  ///< CV_8UC1, share of the pixel that the search calls glare x 255
  cv::Mat
      water_leaving;   ///< CV_8UC1, stored level of the luminance from below the surface, 0: no water around
  Detail detail = {};  ///< of the frame at working size
  Detail coarse = {};  ///< of a quarter of it
  cv::Mat field = {};  ///< CV_8UC1, any size, stretched over the picture: 255 where waves can mirror the sun;
                       ///< empty: not known
};
/// A frame with what the search found in it: `bgr`, `water_mask` and `glare_mask` (CV_8UC1, 255 = yes) at any
/// sizes.
[[nodiscard]] SearchedFrame searched_frame(const cv::Mat& bgr, const cv::Mat& water_mask,
                                           const cv::Mat& glare_mask);

/// Lays `other` over the frame `own`: every plane resampled into own's pixels.
struct OverlaidView {
  cv::Mat bgr, water, glint;  ///< as SearchedFrame
  cv::Mat seen;               ///< CV_8UC1, 255 where the other frame looks
  cv::Mat field = {};         ///< CV_8UC1, as SearchedFrame, own's size
};
struct PlacedCamera {
  Camera camera;
  Homography<MosaicPx, UndistortedPx> mosaic_from_frame;
  Pose pose;
};
/// `heights`: CV_32FC1, any size, stretched over the own frame: of what it shows, world units of the poses;
/// empty: what is shown lies on the mosaic's plane.
[[nodiscard]] OverlaidView overlay(const SearchedFrame& other, const PlacedCamera& other_place,
                                   const PlacedCamera& own_place, cv::Size own_size,
                                   const cv::Mat& heights = {});

/// The same for the fine detail of a frame, resampled to own's; left out where it looks at none of the tiles
/// `wanted` (CV_8UC1; empty: all are).
[[nodiscard]] LaidDetail lay_detail(const Detail& other, const PlacedCamera& other_place,
                                    const PlacedCamera& own_place, cv::Size own_size,
                                    const cv::Mat& heights = {}, const cv::Mat& wanted = {});

/// A searched frame and where it was taken from; both outlive it.
struct PlacedView {
  const SearchedFrame* frame = nullptr;
  const PlacedCamera* place = nullptr;
};
/// Compares the fine detail of one frame after the other with that of `own`, as long as they look where
/// something is still open. `heights` as for `overlay`.
[[nodiscard]] DetailComparison compare_detail(const SearchedFrame& own, const PlacedCamera& own_place,
                                              const std::vector<PlacedView>& others,
                                              const cv::Mat& heights = {});

/// Answers of the comparison, own's comparison size.
struct ComparedFrame {
  cv::Mat votes;          ///< CV_32FC1, log-odds of water by what each view's own search says
  cv::Mat water_leaving;  ///< CV_32FC1, luminance of what lies below: what views that do not glare there
                          ///< show, brought to own's exposure; the frame's own answer where no view tells
  cv::Mat views;          ///< CV_8UC1, number of other views of each pixel that tell what lies below
  std::vector<double> log_gains;  ///< natural logarithm of how much brighter own is than each other view
};
[[nodiscard]] ComparedFrame compare_views(const SearchedFrame& own, const std::vector<OverlaidView>& others);

/// Logarithm of each frame's exposure against the mean of all, by least squares from what was brighter where
/// frames look at the same. `log_gains`: one for each of the `views` (indices of frames) of each frame.
[[nodiscard]] std::vector<double> log_exposures(const std::vector<std::vector<int>>& views,
                                                const std::vector<std::vector<double>>& log_gains);

/// Water of one frame by its own look and the comparison, before it is known what the flight's water looks
/// like: CV_8UC1, 255 = water, half the working size.
[[nodiscard]] cv::Mat water_beyond_views(const WorkingPicture&, const ComparedFrame&, const Motion&);

/// What is believed of a frame's patches: `water` (CV_8UC1, 255, half the working size) is. Where no other
/// view looks next to nothing is known.
[[nodiscard]] LookSamples look_samples(const WorkingPicture&, const cv::Mat& water, const Motion&);

/// Water of one frame by what the flight's water looks like, and by what moves; with its outline where the
/// colour changes most. CV_8UC1, 255 = water, half the working size.
[[nodiscard]] cv::Mat water_by_look(const WorkingPicture&, const LearnedLook&, double log_exposure,
                                    const Motion&);

/// Glare of one frame by the comparison, of working size (as Glint). What is bright in the other views too is
/// not glare; what other views show much darker is, whatever its size, amid what the frame itself calls
/// water.
[[nodiscard]] Glint glint_beyond_views(const WorkingPicture&, const cv::Mat& water, const SearchedFrame& own,
                                       const ComparedFrame&, const GlintPrior& prior = {});

/// Share of frame `a` that frame `b` covers, from their outlines on the mosaic; 0 when an outline is not
/// convex and finite.
[[nodiscard]] double covered_share(const PlacedCamera& a, const PlacedCamera& b);

/// Where the frames of `members` (indices into the record, all of them placed) lie, in that order.
[[nodiscard]] std::vector<PlacedCamera> placed_cameras(const FlightRecord&, const std::vector<int>& members);

/// For each frame, at most `most` others that tell most about it: large common ground, different standpoints.
[[nodiscard]] std::vector<std::vector<int>> choose_views(const std::vector<PlacedCamera>& frames, int most);

}  // namespace lookdown::glare
