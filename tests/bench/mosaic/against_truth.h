// How good a mosaic is against the rendered ground: place, colour, seams, sharpness, glare. Each measure is
// stated with its definition, so that it can be argued with.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>

#include "pipeline/record/flight_record.h"

namespace lookdown::bench {

struct Geometry {
  double rmse_px = 0;  ///< root mean square length of the shifts of patches against the truth
  double median_px = 0;
  int patches = 0;  ///< patches of 128 px whose shift could be told (phase correlation with a clear peak),
                    ///< roofs left out
};

/// Side of the blocks whose mean colours are compared: the smaller ones see lost detail and noise too.
constexpr int kColourBlock_px = 4, kBroadColourBlock_px = 16;

struct Colour {
  double median_ciede2000 = 0;  ///< over all blocks, after one affine fit of mosaic to truth
  double p95_ciede2000 = 0;
  double as_it_is = 0;     ///< the median without that fit
  double by_exposure = 0;  ///< the median after all light was multiplied by one factor
  double by_balance =
      0;  ///< the median after the light of each channel was multiplied by a factor of its own
};

struct Seams {
  double gradient_ratio =
      0;  ///< mean step between neighbours shown by different frames over mean step between others
  double excess_ratio = 0;  ///< the same, over what the truth has at the same places
  double seam_share = 0;    ///< of all neighbouring pairs
};

struct Detail {
  double mtf50_mosaic = 0;  ///< cycles a pixel at which the transfer from truth to mosaic falls to a half of
                            ///< that at low frequency
  double mtf50_best_frame = 0;  ///< the same for the frames shown, each resampled on its own
};

struct GlareLeft {
  double of_feathered =
      0;  ///< glare in the mosaic over glare in a mean of the frames weighted by distance to their edge
  double avoidable_px = 0;  ///< glare pixels of the mosaic at which some used frame is clean
  double glare_px = 0;
  double unavoidable_px = 0;  ///< at which no used frame is clean
  double feathered_px = 0;    ///< glare in that mean, as whole pixels
};

struct Measures {
  std::optional<Geometry> geometry;
  std::optional<Colour> colour, broad_colour;  ///< of blocks of kColourBlock_px and kBroadColourBlock_px
  std::optional<Seams> seams;
  std::optional<Detail> detail;
  std::optional<GlareLeft> glare;  ///< reflected light outweighs all other light
  std::optional<GlareLeft>
      glare_in_sight;  ///< of that, what is in plain sight, where the truth tells it apart
};

/// How the mosaic's pixels are tied to the truth's ground: by the grid that the placement states (which
/// counts errors of scale, north and position, and needs a known place), or by the similarity that fits best
/// to what the frames see (as for a flight placed without control).
enum class Tie { by_grid, fitted };

/// `out` holds mosaic.tif and mosaic_sources.tif made from `flight`, whose truth lies in `truth_folder`.
[[nodiscard]] Measures measure_against_truth(const FlightRecord& flight,
                                             const std::filesystem::path& truth_folder,
                                             const std::filesystem::path& out, Tie = Tie::by_grid);

/// Levels of eight bits that no green value of the mosaic has, between the lowest and the highest one of a
/// thousandth of its pixels: what shows as steps.
struct Tones {
  int gaps = 0;
  int gaps_when_lifted = 0;  ///< after the shadows were lifted by three stops, in linear light
};

[[nodiscard]] Tones measure_tones(const std::filesystem::path& mosaic_file);

/// CIEDE2000 between two CIE L*a*b* colours: Sharma, Wu & Dalal, Color Res. Appl. 30:21-30 (2005).
[[nodiscard]] double ciede2000(const cv::Vec3d& lab_a, const cv::Vec3d& lab_b);

}  // namespace lookdown::bench
