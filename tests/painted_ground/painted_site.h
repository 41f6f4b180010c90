// A made-up piece of ground to fly over: fractal soil with stones, tufts and paths, sheds with ribbed roofs
// that stand off it, ponds whose waves are others in every frame. Shares no code with the program's geometry.
// One unit of length is one pixel of the ground picture.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

namespace painted {

struct SiteChoice {
  double width = 2600;
  double height = 2000;
  unsigned seed = 1;
  int sheds = 0;
  double shed_height = 90;
  bool littered_roofs = false;  ///< moss, gravel and leaves in place of ribbed sheets with few marks
  int ponds = 0;
  bool all_water = false;
  bool rows_of_tiles = false;  ///< the ground itself repeats: slabs in rows, each nearly like the next
  double ridge_height =
      0;               ///< by which the ridge of a shed's gable roof stands over its eaves; 0: flat roofs
  std::string relief;  ///< "": flat; "valley", "slope" (15 %), "dike", "heap" or "mixed" (all of them)
  double relief_height = 0;  ///< of the valley, dike or heap
  int trees = 0;
  bool river = false;  ///< along the floor of the valley, its waves others in every frame
  int walls = 0;       ///< dry-stone walls across the fields, stepped with the ground
  double wall_height = 15;
};

/// A shed stands with its eaves level, `height` above the plane z = 0; a gable roof's ridge runs along its
/// length.
struct Shed {
  cv::RotatedRect outline;
  double height = 0;
  double ridge = 0;  ///< of the ridge over the eaves
};

/// A round crown of leaves in some depth: each view looks through its outer leaves onto others.
struct Tree {
  double x = 0, y = 0, z = 0;  ///< middle of the crown
  double radius = 0;
};

/// The ground at full, half, quarter ... size, 8-bit BGR, x right, y up from the lower edge (row = height -
/// y).
struct Site {
  SiteChoice choice;
  std::vector<cv::Mat> ground;
  std::vector<cv::Mat> roofs;  ///< what lies at shed height, same extent
  cv::Mat pond;                ///< CV_8UC1 at full size, 255 = water
  std::vector<Shed> sheds;
  std::vector<Tree> trees;
  cv::Mat leaves;  ///< CV_32F, -1..1: where a crown has leaves and how light they are
  cv::Mat
      relief;  ///< CV_32F, heights of the ground at every kReliefStep units, rows as of `ground`; empty: flat
};

inline constexpr int kReliefStep = 8;

/// Height of the bare ground, and of ground and roofs.
[[nodiscard]] double ground_height(const Site&, double x, double y);
[[nodiscard]] double surface_height(const Site&, double x, double y);
/// True on a shed's footprint; `roof` gets the height of its roof there.
[[nodiscard]] bool on_shed(const Shed&, double x, double y, double* roof = nullptr);

/// True where a crown hides the ground from straight above.
[[nodiscard]] bool under_tree(const Site&, double x, double y);

[[nodiscard]] Site paint_site(const SiteChoice&);

/// Noise of several octaves, mean 0, values about -1..1 (CV_32F); it repeats at its edges when `repeats`.
[[nodiscard]] cv::Mat fractal_noise(cv::Size size, double coarsest_px, double finest_px, double gain,
                                    std::uint64_t seed);

}  // namespace painted
