#include "stages/mosaic/mosaic.h"

#include <fmt/core.h>
#include <tbb/parallel_invoke.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/encode.h"
#include "pipeline/imaging/metadata/derived_metadata.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/geometry/frame_store.h"
#include "stages/mosaic/geometry/frame_view.h"
#include "stages/mosaic/output/clean_picture.h"
#include "stages/mosaic/output/earlier_tiles.h"
#include "stages/mosaic/output/ground_overlay.h"
#include "stages/mosaic/output/mosaic_rasters.h"
#include "stages/mosaic/output/preview.h"
#include "stages/mosaic/output/print/legend.h"
#include "stages/mosaic/output/print/print_sheet.h"
#include "stages/mosaic/output/world_file.h"
#include "stages/mosaic/overview/label_map.h"
#include "stages/mosaic/overview/overview.h"
#include "stages/mosaic/overview/prepared_views.h"
#include "stages/mosaic/radiometry/colour_model.h"
#include "stages/mosaic/render/render.h"
#include "stages/mosaic/render/tally.h"
#include "stages/mosaic/render/tile_inputs.h"
#include "stages/mosaic/roofs/roof_selection.h"
#include "stages/mosaic/seams/seam_alignment.h"
#include "stages/mosaic/seams/seams.h"

namespace lookdown::mosaic {
namespace {

/// Frames are numbered in 16 bits, with a sign while they are chosen, without one in mosaic_sources.tif.
constexpr std::size_t kMostViews = 32767;

/// True when a frame's file has more than eight bits to give.
bool any_deep(const FlightRecord& flight, const std::vector<FrameView>& views, const FrameReader& reader) {
  return std::any_of(views.begin(), views.end(), [&](const FrameView& view) {
    const FrameSource& source = flight.frames[view.frame_index].source;
    if (source.format == "JPEG" || source.format == "RAW") return source.format == "RAW";
    const Result<FrameHeader> header = reader.header(source.path);
    return header && header->bits > 8;
  });
}

/// Bytes that a tile takes while it is rendered: frames warped to the tile with its margin and their bands,
/// in floating point.
constexpr std::int64_t kTilePeakBytes = 200'000'000;
/// How the memory is divided: decoded frames, tiles in work, GDAL's blocks; the rest is for the survey.
constexpr double kFramesShare = 0.4, kTilesShare = 0.4, kBlocksShare = 0.05;

std::int64_t share_of(std::int64_t bytes, double share) {
  return static_cast<std::int64_t>(share * static_cast<double>(bytes));
}

Tile tile_of(const Scene& scene, FrameStore& store, const EarlierTiles& earlier, const cv::Rect& area,
             const std::string& inputs, std::atomic<int>& reused) {
  if (std::optional<Tile> kept = earlier.find(inputs)) {
    ++reused;
    return *std::move(kept);
  }
  return render_tile(scene, store, area);
}

/// Writes all tiles, those that an earlier mosaic has as they are there. `digests` gets what they were made
/// from.
Tally render_all(const Scene& scene, FlightRecord& flight, RunContext& context, FrameStore& store,
                 MosaicRasters& rasters, TileDigests& digests, TileCount& count) {
  const std::vector<cv::Rect> areas = tiles_of(scene.canvas);
  const TileInputs inputs(scene, flight, context.out);
  const EarlierTiles earlier(context.out, context.cache);
  std::vector<Tile> finished(areas.size());
  std::vector<std::string> made_from(areas.size());
  std::atomic<int> reused = 0;
  Tally tally(scene.views);
  context.progress.start("mosaic", areas.size());
  context.scheduler.for_each_frame(
      areas.size(), static_cast<std::int64_t>(kTilePeakBytes / kTilesShare),
      [&](std::size_t i) {
        made_from[i] = inputs.digest_of(areas[i]);
        finished[i] = tile_of(scene, store, earlier, areas[i], made_from[i], reused);
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault)
          flight.warnings.push_back("mosaic: a frame changed during the run, a tile stays empty: " +
                                    fault->message());
        Tile tile = std::move(finished[i]);
        if (!fault) digests[made_from[i]] = tile.area;
        tally.count(tile);
        rasters.write(tile);
        context.progress.step(i + 1);
      });
  context.progress.finish();
  count = {static_cast<int>(areas.size()), reused};
  return tally;
}

LabelMap choose_frames(Survey& survey, const std::string& order) {
  // A single rule is taken by its word: glare and seams have no say.
  if (order != "best") return least_disliked(survey);
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
                       bool glare_known, double highest_leaning_px) {
  MosaicRecord record;
  record.file = kColoursFile;
  record.sources_file = kSourcesFile;
  record.preview_file = "mosaic.jpg";
  if (glare_known) record.glare_file = kGlareFile;
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
  if (canvas.gsd_m && highest_leaning_px > 0)
    record.largest_lean_m = highest_leaning_px * *canvas.gsd_m * tally.greatest_tangent;
  return record;
}

/// Of what is known to stand off the plane and is not looked straight down on.
double highest_leaning_px(const std::vector<RaisedArea>& leaning, bool some_upright,
                          const FlightPlacement& placement, const Canvas& canvas) {
  double highest = 0;
  for (const RaisedArea& roof : leaning) highest = std::max(highest, roof.height_px);
  if (!some_upright && canvas.gsd_m)
    for (const double height : placement.plane_heights) highest = std::max(highest, height / *canvas.gsd_m);
  return highest;
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

/// Says in the record why not.
bool can_be_shown(FlightRecord& flight, const PreparedViews& ready) {
  if (std::all_of(ready.views.begin(), ready.views.end(),
                  [](const FrameView& view) { return view.set_aside; })) {
    flight.warnings.push_back("no mosaic: every placed frame was dropped");
    return false;
  }
  if (ready.views.size() > kMostViews || ready.views.back().source_index >= kNoSource)
    throw CanvasError(
        fmt::format("mosaic: {} frames are more than the {} that one picture can name; join them in parts",
                    ready.views.size(), kMostViews));
  const bool any_read = std::any_of(ready.survey.frames.begin(), ready.survey.frames.end(),
                                    [](const SurveyFrame& frame) { return !frame.bgr.empty(); });
  if (!any_read) flight.warnings.push_back("no mosaic: no frame's pixels could be read again");
  return any_read;
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

TileCount build(FlightRecord& flight, const Options& options, RunContext& context) {
  if (!any_placed(flight)) {
    flight.warnings.push_back("no mosaic: no frame could be placed");
    return {};
  }
  const Canvas canvas = plan_canvas(flight.placement, options.gsd_m);
  const std::optional<double> plane_height = height_of_plane(flight, options);
  const int bits = options.bits == "16" ? 16 : 8;
  check_size_and_disk(canvas, options.max_gigapixels, context.out, bits);
  const BlockCacheLimit cache(share_of(context.scheduler.memory_bytes(), kBlocksShare));
  PreparedViews ready = prepare_views(flight, canvas, plane_height, options, context);
  if (!can_be_shown(flight, ready)) return {};
  keep_what_is_shown(ready);
  keep_whole(ready.leaning, ready.views, ready.survey);
  std::vector<FrameView>& views = ready.views;
  Survey& survey = ready.survey;
  flight.notes.insert(flight.notes.end(), ready.notes.begin(), ready.notes.end());
  // Frames of eight bits alone are joined as they are coded, which asks less and differs by less than they
  // hold.
  const bool deep = bits == 16 || any_deep(flight, views, context.reader);
  FrameStore store(context.reader, flight, context.out,
                   share_of(context.scheduler.memory_bytes(), kFramesShare), deep ? CV_16U : CV_8U);
  const LabelMap choice = choose_frames(survey, options.order);
  join_roofs(ready.leaning, views, survey, choice);

  if (options.order == "best" && options.meet_at_seams)
    bend_frames(views, survey, seam_ties(flight, views, survey, choice, store, context));

  const Derivation derivation = derivation_of(flight, views);
  MosaicRasters rasters(context.out, canvas, derivation, views, bits);
  TileDigests digests;
  TileCount count;
  const Tally tally =
      render_all({canvas, views, survey, choice, ready.colours, bits, deep, ToneCurve(options.tone_curve)},
                 flight, context, store, rasters, digests, count);
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
          write_ground_overlay(context.out / kColoursFile, context.out / "mosaic.kmz",
                               title_of(flight, options.title),
                               days_taken(flight) + "\n" + accuracy_line(flight.placement));
      });

  if (options.compression != "jpeg") remember_tiles(context.out, digests, context.cache);

  flight.mosaic = record_of(canvas, tally, views, glare_known,
                            highest_leaning_px(ready.leaning, ready.some_upright, flight.placement, canvas));
  if (tally.filled_px > 0)
    flight.notes.push_back(fmt::format(
        "{:.1f} % of the mosaic was seen by no frame that is kept: {} dropped for blur fill in there "
        "(--no-fill leaves holes).",
        100.0 * static_cast<double>(tally.filled_px) / static_cast<double>(tally.covered_px),
        tally.filled_by.size() == 1 ? "1 frame" : fmt::format("{} frames", tally.filled_by.size())));
  return count;
}

}  // namespace lookdown::mosaic
