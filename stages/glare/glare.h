// glare: where reflections hide the water. Common rules: only water-like areas can hold glare (white crust,
// gravel, roofs, foam are bright too and are not glare); masks are 8 bit, 255 = glare, size and orientation
// of the frame as stored (Exif orientation not applied); a frame without water has shares of 0, not a fault;
// a frame that cannot tell (blurred, tilted towards the horizon) has no answer at all, which is not the same.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "pipeline/base/options/option_table.h"
#include "pipeline/geometry/sun_and_water.h"
#include "pipeline/imaging/frame_reader.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::glare {

struct Options {
  std::optional<double> lat_deg, lon_deg;  ///< place, for the sun; Exif positions otherwise
  std::optional<double> utc_offset_h;      ///< of the camera's clock; Exif offset otherwise
  double clock_offset_s = 0;               ///< to add to the camera's clock
  double refractive_index = 1.333;         ///< of the water; brine up to about 1.38
  std::optional<double> wind_m_s;          ///< empty: wave slope as capped for small ponds
  bool write_masks = true;
};
void describe(Options&, OptionVisitor&);

inline constexpr const char* kFindVersion = "glare/27";

/// Sun at the moment a frame was taken, apparent (refraction in). Empty unless the place (options, else
/// Exif), the clock time and the clock's offset from UTC (options, else Exif) are all known: nothing is
/// guessed.
[[nodiscard]] std::optional<SunPosition> sun_of_frame(const FrameInfo&, const Options&);

/// Mean square slope of the waves to reckon with.
[[nodiscard]] double wave_slope(const Options&);

/// Where flat water mirrors the sun in a placed frame, undistorted pixels; empty when behind the camera or
/// the sun is down.
[[nodiscard]] std::optional<Point2<UndistortedPx>> mirror_point(const Pose&, const Camera&,
                                                                const SunPosition&);

/// What physics expects over a frame of known pose, a coarse grid as floats (CV_32FC1), x and y sampled at
/// equal steps.
struct Prediction {
  std::unique_ptr<cv::Mat> glint;  ///< chance 0..1 that a point mirrors the sun: facet density, relative to
                                   ///< its peak at the mirror point
  std::unique_ptr<cv::Mat> sky;    ///< share of the sky's light that flat water mirrors there (Fresnel)
  Prediction();
  Prediction(Prediction&&) noexcept;
  Prediction& operator=(Prediction&&) noexcept;
  ~Prediction();
};
/// `columns` x `rows` samples over the frame. Points that look at or above the horizon are 0.
[[nodiscard]] Prediction predict(const Pose&, const Camera&, const SunPosition&, double mean_square_slope,
                                 double refractive_index, int columns, int rows);

/// What is known of a frame before water is looked for.
struct Circumstances {
  std::optional<Sharpness> sharpness;
  std::optional<Tilt> tilt;
  bool shows_horizon = false;
  std::optional<SunPosition> sun;  ///< shifts thresholds a little where waves can mirror it; never needed
};

/// Masks of one frame and their shares.
struct Found {
  Glare glare;
  std::unique_ptr<cv::Mat> glare_mask;  ///< CV_8UC1, 0/255, size of the frame as stored; empty: no glare
  std::unique_ptr<cv::Mat> water_mask;  ///< the same for water
  Found();
  Found(Found&&) noexcept;
  Found& operator=(Found&&) noexcept;
  ~Found();
};
/// Single-frame search. Empty where the frame cannot tell: blurred or smeared by more than some pixels of a
/// copy of 1024, or so oblique that water mirrors the sky at its foot. Throws FrameFault when the frame
/// cannot be decoded.
[[nodiscard]] std::optional<Found> find(FramePixels&, const FrameInfo&, const Circumstances&, const Options&);

/// What is blurred is smooth, as water is: a frame that was dropped for its blur, however slight, has no
/// answer. Takes answers and masks (below `out`) of such frames away; those that a person dropped keep
/// theirs.
void forget_blurred(FlightRecord&, const std::filesystem::path& out);

/// A mask as the bytes of a PNG file of one bit a pixel, 255 where the mask is set. Throws WriteError when it
/// cannot be encoded.
[[nodiscard]] std::string mask_png(const cv::Mat& mask);

/// After placement: the bottom stays, glare and waves move. Rewrites masks and shares where overlapping
/// frames tell; frames that were dropped neither tell nor are told. Adds a note that says how the masks
/// changed.
void refine_across_frames(FlightRecord&, const Options&, RunContext&);

/// Copies of the placed frames with glare, as displayed, in which glare is replaced by what other frames show
/// of the same ground, below `folder`: NAME.jpg, and NAME_origin.png that says of each pixel whether it is
/// the frame's own (0), another frame's (255), or glare that no other frame shows without (128). Real pixels
/// only, scaled to the frame's exposure. Returns the number of copies.
int write_deglinted(FlightRecord&, const std::filesystem::path& folder, RunContext&);

}  // namespace lookdown::glare
