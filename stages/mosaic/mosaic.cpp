#include "stages/mosaic/mosaic.h"

#include <fmt/core.h>
#include <tbb/parallel_invoke.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>
#include <set>
#include <string_view>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/encode.h"
#include "pipeline/imaging/metadata/derived_metadata.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_store.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/masks/rig_mask.h"
#include "stages/mosaic/masks/transient_objects.h"
#include "stages/mosaic/output/clean_picture.h"
#include "stages/mosaic/output/ground_overlay.h"
#include "stages/mosaic/output/preview.h"
#include "stages/mosaic/output/print/legend.h"
#include "stages/mosaic/output/print/print_sheet.h"
#include "stages/mosaic/output/raster_file.h"
#include "stages/mosaic/output/world_file.h"
#include "stages/mosaic/overview/label_map.h"
#include "stages/mosaic/overview/overview.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "stages/mosaic/render/render.h"
#include "stages/mosaic/roofs/roof_detection.h"
#include "stages/mosaic/roofs/roof_priors.h"
#include "stages/mosaic/roofs/roof_selection.h"
#include "stages/mosaic/seams/seam_alignment.h"
#include "stages/mosaic/seams/seams.h"

namespace lookdown::mosaic {
namespace {

/// Frames are numbered in 16 bits, with a sign while they are chosen, without one in mosaic_sources.tif.
constexpr std::size_t kMostViews = 32767;
constexpr int kNoSource = 65535;

constexpr const char* kMosaicOf = "straight-down mosaic";

/// What the files made from these frames say about themselves; `what` is shown in them.
Derivation derivation_of(const FlightRecord& flight, const std::vector<FrameView>& views, const char* what) {
  Derivation derivation{what, {}, {}};
  std::vector<std::filesystem::path> files;
  for (const FrameView& view : views) {
    derivation.frames.push_back(flight.frames[view.frame_index].source.file);
    files.push_back(flight.frames[view.frame_index].source.path);
  }
  derivation.attribution = attribution_of(files);
  return derivation;
}

RasterKind described(RasterKind kind, Derivation derivation, const char* what) {
  derivation.processing = what;
  kind.tags = tiff_tags(derivation);
  return kind;
}

RasterKind colour_kind(int bits) {
  return {.depth = bits == 16 ? CV_16U : CV_8U, .band_names = {"red", "green", "blue", "alpha"}};
}

/// True when a frame's file has more than eight bits to give.
bool any_deep(const FlightRecord& flight, const std::vector<FrameView>& views, const FrameReader& reader) {
  return std::any_of(views.begin(), views.end(), [&](const FrameView& view) {
    const FrameSource& source = flight.frames[view.frame_index].source;
    if (source.format == "JPEG" || source.format == "RAW") return source.format == "RAW";
    const Result<FrameHeader> header = reader.header(source.path);
    return header && header->bits > 8;
  });
}

/// Frames that only fill are named with the band: a reader of the numbers alone can tell them.
RasterKind sources_kind(const std::vector<FrameView>& views) {
  std::string filling;
  for (const FrameView& view : views)
    if (view.fills) filling += fmt::format("{}{}", filling.empty() ? "" : ", ", view.source_index);
  if (!filling.empty())
    filling = "; dropped for blur and shown only where no other frame sees the ground: " + filling;
  return {.bands = 1,
          .depth = CV_16U,
          .alpha = false,
          .averaged_overviews = false,
          .no_value = kNoSource,
          .band_names = {"index into the frames of placement.json" + filling}};
}

RasterKind glare_kind() {
  return {.bands = 1,
          .alpha = false,
          .averaged_overviews = false,
          .band_names = {"255 where what is shown is glare"}};
}

/// What was seen while the tiles went by.
class Tally {
 public:
  explicit Tally(const std::vector<FrameView>& views) {
    for (const FrameView& view : views) by_source_[view.source_index] = &view;
  }
  void count(const Tile& tile) {
    if (!tile.glare.empty()) glare_px += cv::countNonZero(tile.glare);
    constexpr int kLeanStep = 8;  // the lean changes slowly
    int last = -1;
    const FrameView* view = nullptr;
    for (int row = 0; row < tile.sources.rows; ++row)
      for (int column = 0; column < tile.sources.cols; ++column) {
        const int source = tile.sources.at<ushort>(row, column);
        if (source == kNoSource) continue;
        ++covered_px;
        if (source != last) {
          view = by_source_.at(source);
          sources.insert(source);
          if (view->fills) filled_by.insert(view->frame_index);
        }
        last = source;
        filled_px += view->fills;
        if (row % kLeanStep == 0 && column % kLeanStep == 0)
          greatest_tangent =
              std::max(greatest_tangent, view->tan_view_angle(tile.area.x + column, tile.area.y + row));
      }
  }

  std::int64_t covered_px = 0;
  std::int64_t glare_px = 0;
  std::int64_t filled_px = 0;
  std::set<int> filled_by;      ///< indices of frames
  double greatest_tangent = 0;  ///< of the angle from straight down at which anything is shown
  std::set<int> sources;

 private:
  std::map<int, const FrameView*> by_source_;
};

/// Bytes that a tile takes while it is rendered: frames warped to the tile with its margin and their bands,
/// in floating point.
constexpr std::int64_t kTilePeakBytes = 200'000'000;
/// How the memory is divided: decoded frames, tiles in work, GDAL's blocks; the rest is for the survey.
constexpr double kFramesShare = 0.4, kTilesShare = 0.4, kBlocksShare = 0.05;

std::int64_t share_of(std::int64_t bytes, double share) {
  return static_cast<std::int64_t>(share * static_cast<double>(bytes));
}

/// The rasters that grow tile by tile.
struct Rasters {
  RasterFile colours, sources, glare;
  Rasters(const std::filesystem::path& out, const Canvas& canvas, const Derivation& derivation,
          const std::vector<FrameView>& views, int bits)
      : colours(out / "mosaic.tif", canvas, described(colour_kind(bits), derivation, kMosaicOf)),
        sources(out / "mosaic_sources.tif", canvas,
                described(sources_kind(views), derivation, "source frame of every pixel of a mosaic")),
        glare(out / "mosaic_glare.tif", canvas,
              described(glare_kind(), derivation, "glare that is left in a mosaic")) {}
  void write(const Tile& tile) {
    if (tile.bgra.empty()) return;
    cv::Mat rgba;
    cv::cvtColor(tile.bgra, rgba, cv::COLOR_BGRA2RGBA);
    colours.write(tile.area, rgba);
    sources.write(tile.area, tile.sources);
    if (!tile.glare.empty()) glare.write(tile.area, tile.glare);
  }
};

Tally render_all(const Scene& scene, FlightRecord& flight, RunContext& context, FrameStore& store,
                 Rasters& rasters) {
  const std::vector<cv::Rect> areas = tiles_of(scene.canvas);
  std::vector<Tile> finished(areas.size());
  Tally tally(scene.views);
  context.progress.start("mosaic", areas.size());
  context.scheduler.for_each_frame(
      areas.size(), static_cast<std::int64_t>(kTilePeakBytes / kTilesShare),
      [&](std::size_t i) { finished[i] = render_tile(scene, store, areas[i]); },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault)
          flight.warnings.push_back("mosaic: a frame changed during the run, a tile stays empty: " +
                                    fault->message());
        Tile tile = std::move(finished[i]);
        tally.count(tile);
        rasters.write(tile);
        context.progress.step(i + 1);
      });
  context.progress.finish();
  return tally;
}

LabelMap choose_frames(Survey& survey, const std::string& order) {
  // A single rule is taken by its word: glare and seams have no say.
  if (order != "best") return least_disliked(survey);
  dislike_passing_things(survey);
  forbid_avoidable_glare(survey);
  LabelMap choice = least_disliked(survey);
  optimise_seams(survey, choice);
  return choice;
}

/// Without marks and holes, for slides and letters; none where the frames leave no rectangle.
void write_clean_picture(const ReadArea& read, const cv::Mat& reduced, const Canvas& canvas,
                         const Derivation& derivation, const std::filesystem::path& file) {
  cv::Mat alpha;
  cv::extractChannel(reduced, alpha, 3);
  const cv::Rect clean = largest_covered_rectangle(alpha);
  if (clean.empty()) return;
  const double x = static_cast<double>(canvas.width_px) / reduced.cols,
               y = static_cast<double>(canvas.height_px) / reduced.rows;
  const cv::Point first(static_cast<int>(std::ceil(clean.x * x)), static_cast<int>(std::ceil(clean.y * y)));
  const cv::Point last(static_cast<int>(std::floor(clean.br().x * x)),
                       static_cast<int>(std::floor(clean.br().y * y)));
  const cv::Rect area = cv::Rect(first, last) & cv::Rect(0, 0, canvas.width_px, canvas.height_px);
  if (area.empty()) return;
  const double factor =
      std::min(1.0, static_cast<double>(kPreviewLongSidePx) / std::max(area.width, area.height));
  cv::Mat picture = read(area, {std::max(1, static_cast<int>(std::lround(area.width * factor))),
                                std::max(1, static_cast<int>(std::lround(area.height * factor)))});
  cv::cvtColor(picture, picture, cv::COLOR_RGBA2BGR);
  write_file(file, with_derivation(encode_jpeg(picture, 92), derivation));
}

/// Everything made from the finished rasters: the pictures that people look at and print, and where they lie.
void write_pictures(const RasterFile& colours, const Canvas& canvas, const FlightRecord& flight,
                    const Options& options, int frames_used, const Derivation& derivation,
                    const std::filesystem::path& out) {
  const ReadArea read = [&](const cv::Rect& area, cv::Size size) { return colours.reduced(area, size); };
  const cv::Size size = preview_size(canvas);
  const bool north_known = north_is_known(flight.placement);
  const cv::Mat reduced = read({0, 0, canvas.width_px, canvas.height_px}, size);
  const cv::Mat preview = draw_preview(reduced, canvas, north_known, days_taken(flight));
  write_file(out / "mosaic.jpg", with_derivation(encode_jpeg(preview, 90), derivation));
  write_clean_picture(read, reduced, canvas, derivation, out / "mosaic_clean.jpg");
  if (canvas.geotransform) {
    write_file(out / "mosaic.tfw", world_file(*canvas.geotransform));
    write_file(out / "mosaic.jgw",
               world_file(*canvas.geotransform, static_cast<double>(canvas.width_px) / size.width,
                          static_cast<double>(canvas.height_px) / size.height));
  }
  if (canvas.gsd_m && options.paper != "none") {
    const PrintText text{title_of(flight, options.title), days_taken(flight), accuracy_line(flight.placement),
                         frames_used, north_known};
    write_file(out / "mosaic_print.pdf", print_sheet(canvas, read, text, options.paper, options.print_scale));
  }
}

MosaicRecord record_of(const Canvas& canvas, const Tally& tally, const std::vector<FrameView>& views,
                       bool glare_known, const FlightPlacement& placement) {
  MosaicRecord record;
  record.file = "mosaic.tif";
  record.sources_file = "mosaic_sources.tif";
  record.preview_file = "mosaic.jpg";
  if (glare_known) record.glare_file = "mosaic_glare.tif";
  if (glare_known && canvas.gsd_m)
    record.unavoidable_glare_m2 = static_cast<double>(tally.glare_px) * *canvas.gsd_m * *canvas.gsd_m;
  record.width_px = canvas.width_px;
  record.height_px = canvas.height_px;
  record.covered_share =
      static_cast<double>(tally.covered_px) / (static_cast<double>(canvas.width_px) * canvas.height_px);
  if (canvas.gsd_m) record.covered_m2 = static_cast<double>(tally.covered_px) * *canvas.gsd_m * *canvas.gsd_m;
  record.frames_used = static_cast<int>(tally.sources.size());
  for (const FrameView& view : views)
    if (tally.sources.contains(view.source_index))
      record.used_frames.push_back(static_cast<int>(view.frame_index));
  std::sort(record.used_frames.begin(), record.used_frames.end());
  if (tally.covered_px > 0)
    record.filled_share = static_cast<double>(tally.filled_px) / static_cast<double>(tally.covered_px);
  record.filled_by.assign(tally.filled_by.begin(), tally.filled_by.end());
  record.lean_per_m_height = tally.greatest_tangent;
  const double highest = placement.plane_heights.empty() ? 0
                                                         : *std::max_element(placement.plane_heights.begin(),
                                                                             placement.plane_heights.end());
  if (highest > 0 && canvas.gsd_m) record.largest_lean_m = highest * tally.greatest_tangent;
  return record;
}

/// Colours for views of a raised plane, solved where frames show the same at one spot: on the ground.
ColourModel colours_on_the_ground(FlightRecord& flight, const std::vector<FrameView>& views,
                                  const Canvas& canvas, const std::string& order, RunContext& context) {
  const std::vector<FrameView> on_ground = frame_views(flight, canvas, std::nullopt);
  const ColourModel solved =
      solve_colours(flight, on_ground, survey_frames(flight, on_ground, canvas, order, context));
  ColourModel model = unchanged_colours(views);
  for (std::size_t i = 0; i < views.size(); ++i)
    for (std::size_t j = 0; j < on_ground.size(); ++j)
      if (views[i].frame_index == on_ground[j].frame_index) model[i] = solved[j];
  return model;
}

/// Of the plane to show; empty: the ground.
std::optional<double> height_of_plane(FlightRecord& flight, const Options& options) {
  const auto& heights = flight.placement.plane_heights;
  if (options.plane_height_m || options.plane == 0) return options.plane_height_m;
  if (std::size_t(options.plane) < heights.size()) return heights[std::size_t(options.plane)];
  flight.warnings.push_back(
      fmt::format("there is no plane {}: placing found {} besides the ground; the mosaic shows the ground",
                  options.plane, heights.empty() ? 0 : heights.size() - 1));
  return std::nullopt;
}

bool any_placed(const FlightRecord& flight) {
  return std::any_of(flight.frames.begin(), flight.frames.end(),
                     [](const FrameRecord& frame) { return frame.placement.placed; });
}

}  // namespace

void check_size(const FlightRecord& flight, const Options& options, const std::filesystem::path& out) {
  if (any_placed(flight))
    check_size_and_disk(plan_canvas(flight.placement, options.gsd_m), options.max_gigapixels, out,
                        options.bits == "16" ? 16 : 8);
}

void build(FlightRecord& flight, const Options& options, RunContext& context) {
  if (!any_placed(flight)) {
    flight.warnings.push_back("no mosaic: no frame could be placed");
    return;
  }
  const Canvas canvas = plan_canvas(flight.placement, options.gsd_m);
  const std::optional<double> plane_height = height_of_plane(flight, options);
  const surface::HeightGrid surface = surface::read(flight, context.out);
  std::vector<FrameView> views = frame_views(flight, canvas, plane_height, options.fill, &surface);
  if (views.empty()) {
    flight.warnings.push_back("no mosaic: every placed frame was dropped");
    return;
  }
  if (views.size() > kMostViews || views.back().source_index >= kNoSource)
    throw CanvasError(
        fmt::format("mosaic: {} frames are more than the {} that one picture can name; join them in parts",
                    views.size(), kMostViews));
  const int bits = options.bits == "16" ? 16 : 8;
  check_size_and_disk(canvas, options.max_gigapixels, context.out, bits);
  const BlockCacheLimit cache(share_of(context.scheduler.memory_bytes(), kBlocksShare));
  Survey survey = survey_frames(flight, views, canvas, options.order, context);
  if (std::all_of(survey.frames.begin(), survey.frames.end(),
                  [](const SurveyFrame& frame) { return frame.bgr.empty(); })) {
    flight.warnings.push_back("no mosaic: no frame's pixels could be read again");
    return;
  }
  const ColourModel model = !options.colour_balance ? unchanged_colours(views)
                            : plane_height
                                ? colours_on_the_ground(flight, views, canvas, options.order, context)
                                : solve_colours(flight, views, survey);
  correct_survey(survey, views, model);
  keep_fills_to_gaps(views, survey);
  const std::vector<RidingPart> riding = riding_parts(flight, views, survey);
  leave_out(riding, views, survey);
  for (const RidingPart& part : riding) flight.notes.push_back(in_words(part));
  // Frames of eight bits alone are joined as they are coded, which asks less and differs by less than they
  // hold.
  const bool deep = bits == 16 || any_deep(flight, views, context.reader);
  FrameStore store(context.reader, flight, context.out,
                   share_of(context.scheduler.memory_bytes(), kFramesShare), deep ? CV_16U : CV_8U);
  std::vector<RaisedArea> roofs;
  if (options.order == "best" && options.whole_roofs && !plane_height && surface.empty()) {
    roofs = long_roofs(views, survey, placed_roofs(flight.placement, canvas, views, survey));
    keep_whole(roofs, views, survey);
  }
  const LabelMap choice = choose_frames(survey, options.order);
  join_roofs(roofs, views, survey, choice);

  if (options.order == "best" && options.meet_at_seams)
    bend_frames(views, survey, seam_ties(views, survey, choice, store, context));

  const Derivation derivation = derivation_of(flight, views, kMosaicOf);
  Rasters rasters(context.out, canvas, derivation, views, bits);
  const Tally tally =
      render_all({canvas, views, survey, choice, model, bits, deep, ToneCurve(options.tone_curve)}, flight,
                 context, store, rasters);
  const bool glare_known = std::any_of(views.begin(), views.end(), [&](const FrameView& view) {
    return flight.frames[view.frame_index].glare.has_value();
  });
  const int threads = context.scheduler.threads();
  rasters.colours.finish(options.compression, threads);
  tbb::parallel_invoke(
      [&] {
        rasters.sources.finish("deflate", threads);
        if (glare_known) rasters.glare.finish("deflate", threads);
      },
      [&] {
        write_pictures(rasters.colours, canvas, flight, options, static_cast<int>(tally.sources.size()),
                       derivation, context.out);
        if (canvas.crs && canvas.geotransform && options.ground_overlay)
          write_ground_overlay(context.out / "mosaic.tif", context.out / "mosaic.kmz",
                               title_of(flight, options.title),
                               days_taken(flight) + "\n" + accuracy_line(flight.placement));
      });

  flight.mosaic = record_of(canvas, tally, views, glare_known, flight.placement);
  if (tally.filled_px > 0)
    flight.notes.push_back(fmt::format(
        "{:.1f} % of the mosaic was seen by no frame that is kept: {} dropped for blur fill in there "
        "(--no-fill leaves holes).",
        100.0 * static_cast<double>(tally.filled_px) / static_cast<double>(tally.covered_px),
        tally.filled_by.size() == 1 ? "1 frame" : fmt::format("{} frames", tally.filled_by.size())));
}

}  // namespace lookdown::mosaic
