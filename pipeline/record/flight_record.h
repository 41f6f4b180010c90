// What a flight is and what has been decided about it: plain values that stages read and add to. Pixels never
// travel here. Angles are degrees (this is what goes to files); an absent std::optional means "not known".
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "pipeline/geometry/camera.h"
#include "pipeline/geometry/pose.h"
#include "pipeline/imaging/frame_source.h"

namespace lookdown {

/// Position written by the camera.
struct GeoPosition {
  double lat_deg = 0;
  double lon_deg = 0;
  std::optional<double> altitude_m;
  std::optional<double> direction_deg;  ///< clockwise from true north
  double sigma_m = 5;                   ///< horizontal standard deviation
};

/// What the file says about the shot.
struct FrameInfo {
  std::optional<std::string>
      taken_at;  ///< ISO 8601 with sub-seconds, local; with offset when the file has one
  std::optional<double>
      taken_at_s;  ///< seconds since 1970-01-01 00:00 of the camera's clock (local time, offset not applied)
  std::optional<double> utc_offset_h;  ///< from OffsetTimeOriginal
  std::string make, model, lens;
  std::optional<double> focal_length_mm, focal_length_35mm;
  std::optional<double> exposure_s, f_number, iso;
  std::optional<GeoPosition> position;
  std::string camera_id;  ///< frames with the same id share one Camera (body, lens, focal length, size)
  Camera camera;
};

/// Blur of one tile of the grid.
struct TileBlur {
  int column = 0, row = 0;
  std::optional<double> blur_fwhm_px;
  double detail = 0;  ///< how much there was to measure, 0..1
};

/// Blur, smear and exposure of one frame. Pixels of the frame as stored.
struct Sharpness {
  /// 0..1, comparable between frames of different content; 0.5 is where sharp ends for this camera as the
  /// flight shows it, and even odds where that is not known
  std::optional<double> sharpness;
  std::optional<double> sharpness_alone;   ///< of the frame by itself: the odds of sharp against blurred
  std::optional<double> blur_fwhm_px;      ///< full width at half maximum of the blur
  std::optional<double> blur_sigma_share;  ///< relative standard deviation of blur_fwhm_px
  std::optional<double> smear_px;          ///< length of motion blur, 0 = none
  std::optional<double> smear_deg;         ///< its direction 0..180, counter-clockwise from +x, y up
  double detail = 0;              ///< evidence, 0..1: below the stage's limit the frame does not tell
  double clipped_high_share = 0;  ///< share of pixels with any channel at the top
  double clipped_low_share = 0;
  std::array<double, 3> clipped_high_channel_share{};  ///< red, green, blue
  double mean_level = 0;                               ///< mean luminance 0..1 in linear light
  int tile_columns = 0, tile_rows = 0;
  std::vector<TileBlur> tiles;
  std::vector<std::uint8_t> signature;  ///< compact picture for near-repeats
};

/// The horizon in one frame.
struct Horizon {
  std::array<double, 3>
      line{};  ///< a x + b y + c = 0 in undistorted pixels as stored, a^2 + b^2 = 1, positive on the sky side
  std::string kind;     ///< "sea" (flat, far) or "land" (hills, trees: larger uncertainty)
  double roll_deg = 0;  ///< of the frame as displayed, clockwise positive
  double roll_sigma_deg = 0;
  double pitch_deg = 0;  ///< optical axis above (+) or below (-) the horizontal
  double pitch_sigma_deg = 0;
};

/// Direction of straight down as one source sees it.
struct Tilt {
  std::array<double, 3> down_in_camera{0, 0, 1};  ///< unit vector, camera axes of the frame as stored
  double off_nadir_deg = 0;
  double sigma_deg = 0;
  std::string from;  ///< "horizon", "verticals", "parallels", "placement", "sun"
};

/// Where level water mirrors the sun in one frame, as the middle of its glitter shows it.
struct MirrorPoint {
  std::array<double, 3> toward{0, 0,
                               1};  ///< viewing direction, unit vector, camera axes of the frame as stored
  double sigma_deg = 0;             ///< standard deviation where it is known least
};

/// Water and glare of one frame; a frame that cannot tell (blurred, tilted towards the horizon) has none.
/// Masks are files: masks/NAME_glare.png, size of the frame as stored.
struct Glare {
  double water_share = 0;  ///< of the frame
  double glare_share = 0;  ///< of the frame
  std::optional<double> glare_share_of_water;
  std::optional<double> readable_water_share;  ///< of the water
  std::string kind;  ///< "no water", "none" (water without glare), or what there is most of: "glitter"
                     ///< (specks), "glint" (the sun itself, clipped), "sky" (a veil)
  std::optional<MirrorPoint> mirror_point;  ///< where the frame's glitter tells it
  std::string mask_file;        ///< relative to the output folder; empty: none written, there is no glare
  std::string water_mask_file;  ///< the same for water
};

/// Where the sun stood when a frame was taken, refraction included.
struct Sun {
  double elevation_deg = 0;
  double azimuth_deg = 0;  ///< clockwise from true north
};

enum class View { nadir, oblique, horizon, other };
enum class Verdict { keep, unsure, drop };

/// Why a verdict is what it is.
struct Reason {
  std::string word;             ///< plain words, e.g. "smeared", "too little detail"
  std::optional<double> value;  ///< the number that decided
  std::optional<double> limit;  ///< and the limit it was held against
  std::string unit;
  Verdict asks_for = Verdict::keep;  ///< the verdict that this reason alone would give: tells what decided
                                     ///< from what was noted
};

struct Decision {
  View view = View::other;
  Verdict verdict = Verdict::unsure;
  std::vector<Reason> reasons;
  std::string repeat_of;   ///< file of the better near-repeat; empty: none
  bool by_person = false;  ///< set from choices.csv
};

/// True when a frame is dropped, not by a person, and for nothing but its blur.
[[nodiscard]] bool dropped_for_blur_alone(const Decision&);

/// How a part of a frame lies against the rest of the flight after the adjustment.
struct Misfit {
  Point2<MosaicPx> at;
  double dx_px = 0, dy_px = 0;  ///< seen in this frame minus adjusted from all, mosaic pixels
};

/// Where one frame lies.
struct FramePlacement {
  bool placed = false;
  int group = -1;  ///< 0 = largest group of connected frames
  Camera camera;   ///< as refined by the adjustment
  Pose pose;       ///< world units are metres when FlightPlacement::gsd_m is known, else mosaic pixels
  Homography<MosaicPx, UndistortedPx> mosaic_from_frame;
  double rmse_px = 0;  ///< reprojection, pixels of the frame
  double off_nadir_sigma_deg = 0;
  int tie_points = 0;
  std::vector<Misfit> misfits;  ///< of the frame's quarters, where there are tie points enough
  double gain = 1;              ///< relative exposure against the flight
  std::vector<int> neighbours;  ///< indices of frames that it is tied to
  std::string why_not;  ///< when not placed: "too blurred", "no overlap found", "only water", "inconsistent"
};

/// One control or check point after the adjustment.
struct ControlResidual {
  std::string name;
  bool check = false;  ///< withheld from the fit
  double x = 0, y = 0, z = 0;
  double dx = 0, dy = 0;  ///< found minus given, world units
  int marks = 0;
  std::optional<double> dz;  ///< as dx, upwards: where the placement tells heights and two frames show it
};

/// What is known of the whole placement.
struct Accuracy {
  double tie_point_rmse_px = 0;
  std::optional<double> control_rmse_m;                                  ///< fit residual, not an accuracy
  std::optional<double> check_rmse_x_m, check_rmse_y_m, check_rmse_r_m;  ///< on withheld points
  std::optional<double> check_rmse_z_m;  ///< of heights, where the placement tells them
  std::optional<double> nssda_95_m;      ///< 1.7308 RMSE_r, FGDC-STD-007.3-1998, check points only
  int check_points = 0;
  std::vector<ControlResidual> points;
  std::string sentence;  ///< the same in words that would stand in a report
};

/// A horizontal plane off the ground that placing has found: roofs of one height and the like.
struct RaisedPlane {
  double height = 0;  ///< above the ground plane, below it when negative; world units
  double sigma = 0;   ///< standard deviation of the height against the ground, without that of the scale
  /// Around the tie points of each part, in pixels of the placed canvas as seen from straight above: the
  /// plane reaches at least this far.
  std::vector<std::vector<std::array<double, 2>>> outlines_px;
  int tie_points = 0;
};

struct FlightPlacement {
  std::optional<std::string> crs;           ///< "EPSG:..." when georeferenced
  std::optional<double> gsd_m;              ///< ground size of a mosaic pixel
  std::string scale_from;                   ///< "control", "scale bar", "positions", "none", ...
  std::optional<double> scale_sigma_share;  ///< standard deviation of the scale as a share of it
  std::string north_from;                   ///< the same, or "arbitrary"
  int mosaic_width_px = 0;
  int mosaic_height_px = 0;
  std::optional<std::array<double, 6>> geotransform;  ///< GDAL order, corner of the top-left pixel
  int groups = 0;
  std::vector<double> plane_heights;       ///< world units; [0] = ground, then those of `raised_planes`
  std::vector<RaisedPlane> raised_planes;  ///< of the first group, largest first
  /// Robust standard deviation of the tie points' heights about the plane, world units; 0 where the flight
  /// was placed on the plane alone: its ground is flat, or its frames do not tell heights.
  double relief_spread = 0;
  double lowest_tie_point = 0,
         highest_tie_point =
             0;  ///< world units, heights over the plane, half a per cent at either end left out; 0 as above
  double height_sigma = 0;   ///< with which tie points tell heights, world units; 0 as above
  double ground_height = 0;  ///< height in the control's system that z = 0 of the world stands for
  Accuracy accuracy;
};

/// What the surface stage has made.
struct SurfaceRecord {
  std::string file;         ///< heights above z = 0 of the world and how many pairs of frames agree on each
  double step_px = 0;       ///< mosaic pixels (as placed) between nodes
  double known_share = 0;   ///< of the nodes, where frames agree on a height
  double height_sigma = 0;  ///< of one match, world units
};

/// What the mosaic stage has made.
struct MosaicRecord {
  std::string file, sources_file, preview_file, glare_file;
  int width_px = 0, height_px = 0;
  double covered_share = 0;
  std::optional<double> covered_m2, unavoidable_glare_m2;
  int frames_used = 0;
  /// Share of what is covered that frames show which were dropped for blur alone: no kept frame sees it.
  std::optional<double> filled_share;
  std::vector<int> filled_by;               ///< those frames, indices in FlightRecord::frames
  std::vector<int> used_frames;             ///< indices of the frames that it shows somewhere, ascending
  std::optional<double> lean_per_m_height;  ///< horizontal displacement of what stands off the plane, at
                                            ///< most, for each metre of height
  std::optional<double>
      largest_lean_m;  ///< horizontal displacement of the highest thing known to stand off the plane
};

/// Everything known of one input file. A file that could not be read has `fault` and nothing but its source.
struct FrameRecord {
  FrameSource source;
  std::optional<std::string> fault;
  FrameInfo info;
  std::optional<Sharpness> sharpness;
  bool horizon_looked_for = false;
  std::optional<Horizon> horizon;
  std::optional<Tilt> tilt;  ///< best combination
  std::vector<Tilt> tilt_sources;
  std::optional<Glare> glare;
  std::optional<Sun> sun;  ///< empty unless place, time and the clock's offset are known
  Decision decision;
  FramePlacement placement;
};

/// A square spot of ground that some frame shows with glare in it, and the frame that shows it with the
/// least.
struct ClearestView {
  int group = 0;
  double x = 0,
         y = 0;     ///< its centre: georeferenced or metres where known (as the mosaic), else mosaic pixels
  double side = 0;  ///< of the square, same units
  int frame = -1;   ///< index of the frame
  double glare_share = 0;        ///< of the spot in that frame
  double worst_glare_share = 0;  ///< in the frame with the most glare there
  int views = 0;                 ///< frames that show the whole spot
};

struct StageTiming {
  std::string stage;
  double seconds = 0;
  int done = 0;        ///< frames; of a mosaic that was put together, its tiles
  int from_cache = 0;  ///< how many of them were taken from an earlier run
};

/// The run's memory.
struct FlightRecord {
  std::string program_version;
  std::string command_line;
  std::string options_json;         ///< every option with its value, one flat object; can be run again
  std::vector<FrameRecord> frames;  ///< ordered by time taken, then file
  FlightPlacement placement;
  std::optional<SurfaceRecord> surface;
  std::optional<MosaicRecord> mosaic;
  std::vector<ClearestView> clearest_views;
  std::vector<StageTiming> timings;
  std::vector<std::string> notes;     ///< what was done, for the field text; nothing to act on
  std::vector<std::string> warnings;  ///< plain words, most important first
};

/// True when the mosaic shows the frame with this index somewhere.
[[nodiscard]] bool is_used(const FlightRecord&, std::size_t frame);

[[nodiscard]] const char* word(View);
[[nodiscard]] const char* word(Verdict);
[[nodiscard]] std::optional<Verdict> verdict_from_word(const std::string&);
[[nodiscard]] std::optional<View> view_from_word(const std::string&);

}  // namespace lookdown
