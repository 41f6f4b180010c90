// One spot of ground seen in several frames: the bottom stays, glare moves, and so do waves. Private to the
// stage (and its tests and benchmark).
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
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

struct PlacedCamera {
  Camera camera;
  Homography<MosaicPx, UndistortedPx> mosaic_from_frame;
  Pose pose;
};

/// Where a picture of a placed frame looks, at nodes every `step_px` of its pixels: what other frames show
/// there varies smoothly from node to node. The first node is the first pixel's, the last lies beyond the
/// last's; row by row.
struct SightGrid {
  cv::Size size, nodes;
  int step_px;
  Eigen::Vector3d centre;
  std::vector<Point2<MosaicPx>> on_plane;
  std::vector<Eigen::Vector3d> rays;  ///< from `centre`, axes of the world
  SightGrid(const PlacedCamera&, cv::Size picture, int step_px = 8);
};

/// Another frame laid over the own one: every plane resampled into own's pixels, CV_8UC1.
struct OverlaidView {
  cv::Mat luma;
  cv::Mat water;
  cv::Mat glint;  ///< as SearchedFrame, 255 as well where waves can mirror the sun
  cv::Mat seen;   ///< 255 where the other frame looks
};
/// `heights`: CV_32FC1, any size, stretched over the own frame: of what it shows, world units of the poses;
/// empty: what is shown lies on the mosaic's plane.
[[nodiscard]] OverlaidView overlay(const SearchedFrame& other, const PlacedCamera& other_place,
                                   const SightGrid& own, const cv::Mat& heights = {});

/// Position of what each of own's pixels shows in a picture of `other_size` of the other frame, CV_32FC2;
/// far outside where it does not look.
[[nodiscard]] cv::Mat map_to_other(const SightGrid& own, const PlacedCamera& other_place, cv::Size other_size,
                                   const cv::Mat& heights = {});

/// `overlay` of the fine detail of a frame; left out where it looks at none of the tiles `wanted` (CV_8UC1;
/// empty: all are). Tiles are whole steps of the grid.
[[nodiscard]] LaidDetail lay_detail(const Detail& other, const PlacedCamera& other_place,
                                    const SightGrid& own, const cv::Mat& heights = {},
                                    const cv::Mat& wanted = {});

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

/// What lies below the water of a frame, CV_8UC1, own's comparison size.
struct BelowWater {
  cv::Mat level;  ///< stored level of the luminance from below the surface, in the frame's own exposure
  cv::Mat told;   ///< 255 where other views show it, amid what the frame itself calls water
  cv::Mat wet;    ///< 255 where all of these call it water by themselves
};

/// Answers of the comparison, own's comparison size.
struct ComparedFrame {
  cv::Mat votes;     ///< CV_32FC1, log-odds of water by what each view's own search says
  BelowWater below;  ///< by views that do not glare there; the frame's own answer where no view tells
  std::vector<double> log_gains;  ///< natural logarithm of how much brighter own is than each other view
};
[[nodiscard]] ComparedFrame compare_views(const SearchedFrame& own, const std::vector<OverlaidView>& others);

/// Logarithm of each frame's exposure against the mean of all, by least squares from what was brighter where
/// frames look at the same. `log_gains`: one for each of the `views` (indices of frames) of each frame.
[[nodiscard]] std::vector<double> log_exposures(const std::vector<std::vector<int>>& views,
                                                const std::vector<std::vector<double>>& log_gains);

/// Water of one frame by its own look and the comparison, before it is known what the flight's water looks
/// like: CV_8UC1, 255 = water, half the working size.
[[nodiscard]] cv::Mat water_beyond_views(const WorkingPicture&, const SurfaceLook&, const UsualLook&,
                                         const ComparedFrame&, const Motion&);

/// A frame in patches, with what is known of each before it is known what the flight's water looks like.
struct KnownPatches {
  Patches patches;
  LookSamples samples;        ///< of each patch
  std::vector<float> moving;  ///< log-odds of water by motion, at least 0, one a patch
  std::vector<float> usual;   ///< the same by what water usually looks like
};
/// `water` (CV_8UC1, 255, half the working size) is believed. Where no other view looks next to nothing is
/// known, and of what is even and stands little is: it may be ground, or a bottom below clear water.
[[nodiscard]] KnownPatches known_patches(SeenPatches, const UsualLook&, const cv::Mat& water,
                                         const ComparedFrame&, const Motion&);

/// Water of one frame by what the flight's water looks like, by what moves, and a little by what water
/// usually looks like; with its outline where the colour changes most. Where the look is not known, what was
/// believed stays. CV_8UC1, 255 = water, half the working size.
[[nodiscard]] cv::Mat water_by_look(const KnownPatches&, const std::optional<LearnedLook>&,
                                    double log_exposure);

/// Glare of one frame by the comparison, of working size (as Glint). What is bright in the other views too is
/// not glare; what other views show much darker is, and whatever its size where all
/// of them see water there.
[[nodiscard]] Glint glint_beyond_views(const WorkingPicture&, const KnownPatches&, const cv::Mat& water,
                                       const BelowWater&, const GlintPrior& prior = {});

/// Share of frame `a` that frame `b` covers, from their outlines on the mosaic; 0 when an outline is not
/// convex and finite.
[[nodiscard]] double covered_share(const PlacedCamera& a, const PlacedCamera& b);

/// Where the frames of `members` (indices into the record, all of them placed) lie, in that order.
[[nodiscard]] std::vector<PlacedCamera> placed_cameras(const FlightRecord&, const std::vector<int>& members);

/// For each frame, at most `most` others that tell most about it: large common ground, different standpoints.
[[nodiscard]] std::vector<std::vector<int>> choose_views(const std::vector<PlacedCamera>& frames, int most);

}  // namespace lookdown::glare
