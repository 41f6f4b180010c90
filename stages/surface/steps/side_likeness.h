// Which side of a step the views speak for, node by node.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "stages/surface/matching/height_sweep.h"
#include "stages/surface/matching/sweep_views.h"

namespace lookdown::surface {

/// What a view shows of a node.
struct Shown {
  float value = -1;           ///< code value; < 0: nothing
  float unsure = 0;           ///< code values that half a pixel may change
  float from_over_there = 0;  ///< how much the view looks from the lower side
};

/// One tile as several views show it. Single code values are compared, not neighbourhoods: a neighbourhood
/// shows the edge that is in it, and matches at the edge's height beyond it too.
class SideLikeness {
 public:
  /// `heights` (CV_32FC1, none missing): about right; what a view is brighter by than the others under them
  /// is taken off, so that exposure and clouds do not count.
  SideLikeness(const NodeGrid&, const cv::Rect& nodes, const std::vector<const SweepView*>&,
               const std::vector<SweepPictures::Picture>&, const cv::Mat& heights);

  /// By how many code values the views are less alike at the lower height than at the upper one (CV_32FC1; 0
  /// where `where` is 0, where both fit or where nothing tells). What stands highest is hidden from no view,
  /// so that the upper side must fit them all; the lower one only the half that looks from over there, for
  /// the upper side may hide it from the others (Kang, Szeliski & Chai, CVPR 2001). Views that fill have no
  /// say where two others show the upper side.
  [[nodiscard]] cv::Mat at(const cv::Mat& upper, const cv::Mat& lower, const cv::Mat& heights,
                           const cv::Mat& where) const;

  /// What the views show of the nodes at the heights given, mean of all; CV_8UC1, 0 where nothing or where
  /// `where` is 0.
  [[nodiscard]] cv::Mat look(const cv::Mat& heights, const cv::Mat& where) const;

 private:
  struct View {
    SweepPictures::Picture picture;
    Eigen::Vector3f origin, right, down, up;  ///< of the picture's homogeneous place
    Eigen::Vector2f slant;  ///< tangents of the line of sight amid the tile, along columns and rows
    bool fills = false;     ///< as SweepView::fills; such views come last
    cv::Mat gain;           ///< CV_32FC1: of the usual light over the view's
    [[nodiscard]] Shown shown(int column, int row, float height) const;
  };
  void compare_light(const cv::Mat& heights);
  std::vector<View> views_;
};

}  // namespace lookdown::surface
