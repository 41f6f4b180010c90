#include "stages/report/mosaic_content.h"

#include <cmath>
#include <nlohmann/json.hpp>

#include "pipeline/record/record_json.h"
#include "stages/measure/measure.h"
#include "stages/report/pictures/water_outlines.h"

namespace lookdown::report {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

json or_null(const std::optional<double>& value) {
  return value ? json(*value) : json(nullptr);
}

/// One letter a tile, '1' where it is there: a page of thousands of tiles stays small.
json content_of(const TilePyramid& pyramid) {
  json levels = json::array();
  for (const TileLevel& level : pyramid) {
    std::string there;
    for (const bool one : level.there) there += one ? '1' : '0';
    levels.push_back({{"columns", level.columns}, {"rows", level.rows}, {"there", there}});
  }
  return {{"folder", "mosaic_tiles"},
          {"side_px", kTileSide_px},
          {"surround", {kSurround[0], kSurround[1], kSurround[2]}},
          {"levels", levels}};
}

/// The grid and accuracy that the command measures with; null when the mosaic's file cannot be opened.
json content_of_ground(const FlightRecord& record, const RunContext& context,
                       std::optional<measure::Ground>& ground) {
  try {
    ground = measure::ground_of(context.out / record.mosaic->file, placement_document(record).dump());
  } catch (const measure::InputError&) {
    return nullptr;
  }
  return {{"transform",
           {ground->x0, ground->x_right, ground->x_down, ground->y0, ground->y_right, ground->y_down}},
          {"metric", ground->metric},
          {"crs", ground->crs.empty() ? json(nullptr) : json(ground->crs)},
          {"scale_sigma_share", or_null(ground->scale_sigma_share)},
          {"point_sigma", or_null(ground->point_sigma)},
          {"point_sigma_from", ground->point_sigma_from},
          {"datum_sigma", or_null(ground->datum_sigma)}};
}

/// The frame with the least glare for each spot of the first group.
json clearest_views(const FlightRecord& record, const std::optional<measure::Ground>& ground) {
  json spots = json::array();
  if (!ground) return spots;
  for (const ClearestView& spot : record.clearest_views) {
    if (spot.group != 0 || spot.frame < 0) continue;
    const measure::Corner middle = ground->px_from_ground({spot.x, spot.y});
    spots.push_back({{"at", {std::round(middle.x * 10) / 10, std::round(middle.y * 10) / 10}},
                     {"side_px", std::round(spot.side / ground->unit_per_px() * 10) / 10},
                     {"frame", spot.frame},
                     {"glare_share", std::round(spot.glare_share * 1e4) / 1e4},
                     {"worst_glare_share", std::round(spot.worst_glare_share * 1e4) / 1e4},
                     {"views", spot.views}});
  }
  return spots;
}

json water_content(const FlightRecord& record, const RunContext& context) {
  json outlines = json::array();
  for (const MosaicOutline& outline : water_outlines(record, context.out)) {
    json points = json::array();
    for (const Point2<MosaicPx>& p : outline) points.push_back({std::round(p.x), std::round(p.y)});
    outlines.push_back(std::move(points));
  }
  return outlines;
}

struct File {
  const char* name;
  const char* what;
  bool is_of_mosaic;
};

constexpr File kFiles[] = {{"mosaic.tif", "the mosaic at full size, for mapping programs", true},
                           {"mosaic.jpg", "a preview to send on", true},
                           {"mosaic_clean.jpg", "the picture alone, cropped, for slides", true},
                           {"mosaic_print.pdf", "a sheet to print at a true scale", true},
                           {"mosaic.kmz", "a ground overlay", true},
                           {"mosaic_sources.tif", "which frame each pixel came from", true},
                           {"mosaic_glare.tif", "where glare is left", true},
                           {"surface.tif", "heights", true}};
constexpr File kTables[] = {{"frames.csv", "one row a frame", false},
                            {"placement.json", "where each frame lies", true},
                            {"least_glare.csv", "clearest frame by spot", true},
                            {"flight.json", "the record of the run", false}};

// Folders of copies, and the option that asks for each.
struct CopiesFolder {
  const char* name;
  const char* what;
  const char* option;
};
constexpr CopiesFolder kCopies[] = {
    {"levelled/", "level copies of frames that show the horizon", "levelled-copies"},
    {"rectified/", "obliques laid onto the ground", "rectified-copies"},
    {"deglinted/", "copies with glare filled from other frames", "deglinted-copies"},
    {"kept/", "kept frames", "collect"}};

bool asked_for(const json& options, const char* name) {
  const auto given = options.find(name);
  if (given == options.end()) return false;
  return given->is_boolean() ? given->get<bool>() : given->is_string() && *given != "none";
}

}  // namespace

json mosaic_content(const FlightRecord& record, const TilePyramid& pyramid, const RunContext& context) {
  if (!record.mosaic) return nullptr;
  const MosaicRecord& mosaic = *record.mosaic;
  std::optional<measure::Ground> ground;
  json grid = content_of_ground(record, context, ground);
  return {{"file", mosaic.file},
          {"width_px", mosaic.width_px},
          {"height_px", mosaic.height_px},
          {"covered_share", mosaic.covered_share},
          {"covered_m2", or_null(mosaic.covered_m2)},
          {"unavoidable_glare_m2", or_null(mosaic.unavoidable_glare_m2)},
          {"frames_used", mosaic.frames_used},
          {"tiles", content_of(pyramid)},
          {"ground", std::move(grid)},
          {"clearest_views", clearest_views(record, ground)},
          {"water", water_content(record, context)}};
}

json run_files(const FlightRecord& record, const RunContext& context) {
  json files = json::array();
  std::error_code none;
  for (const File& file : kFiles) {
    if (file.is_of_mosaic && !record.mosaic) continue;
    const auto bytes = fs::file_size(context.out / file.name, none);
    if (!none) files.push_back({{"name", file.name}, {"what", file.what}, {"bytes", bytes}});
  }
  // The tables are written after the page, which is why their sizes are not known yet.
  const bool placed = std::any_of(record.frames.begin(), record.frames.end(),
                                  [](const FrameRecord& frame) { return frame.placement.placed; });
  for (const File& table : kTables)
    if (!table.is_of_mosaic || placed)
      files.push_back({{"name", table.name}, {"what", table.what}, {"bytes", nullptr}});
  const bool masks = std::any_of(record.frames.begin(), record.frames.end(), [&](const FrameRecord& frame) {
    return frame.glare && !frame.glare->mask_file.empty() &&
           fs::exists(context.out / frame.glare->mask_file, none);
  });
  if (masks)
    files.push_back({{"name", "masks/"}, {"what", "glare and water of each frame"}, {"bytes", nullptr}});
  const json options = json::parse(record.options_json, nullptr, false);
  for (const CopiesFolder& copies : kCopies)
    if (options.is_object() && asked_for(options, copies.option) &&
        fs::is_directory(context.out / copies.name, none))
      files.push_back({{"name", copies.name}, {"what", copies.what}, {"bytes", nullptr}});
  return files;
}

}  // namespace lookdown::report
