#include "stages/report/report.h"

#include <cmath>
#include <nlohmann/json.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "stages/report/mosaic_content.h"
#include "stages/report/page_content.h"
#include "stages/report/page_template.h"
#include "stages/report/pictures/control_marks.h"
#include "stages/report/pictures/frame_pictures.h"
#include "stages/report/pictures/map_layers.h"
#include "stages/report/pictures/repeat_crops.h"
#include "stages/report/tiles/tile_pyramid.h"
#include "stages/report/words/sidecar.h"

namespace lookdown::report {
namespace {

using nlohmann::json;

/// Everything that is a picture, as base64, apart from what the page needs at once.
struct Pictures {
  json content = json::object();
  json repeats = json::array();
  json marks = json::array();
};

void add_frames(Pictures& pictures, const FlightRecord& record, const Options& options, RunContext& context) {
  json whole = json::array();
  json piece = json::array();
  for (const FramePicture& picture : frame_pictures(record, options, context)) {
    whole.push_back(base64(picture.whole));
    piece.push_back(base64(picture.piece));
  }
  pictures.content["whole"] = std::move(whole);
  pictures.content["piece"] = std::move(piece);
}

void add_repeats(Pictures& pictures, const FlightRecord& record, const Options& options,
                 RunContext& context) {
  json crops = json::array();
  for (const RepeatGroup& group : repeat_crops(record, options, context)) {
    json members = json::array();
    for (const RepeatCrop& crop : group) {
      members.push_back({{"frame", crop.frame}, {"aligned_by", crop.aligned_by}, {"picture", crops.size()}});
      crops.push_back(base64(crop.jpeg));
    }
    pictures.repeats.push_back(std::move(members));
  }
  pictures.content["repeat"] = std::move(crops);
}

json position(const std::optional<Point2<StoredPx>>& p) {
  return p ? json{std::round(p->x * 100) / 100, std::round(p->y * 100) / 100} : json(nullptr);
}

void add_marks(Pictures& pictures, const FlightRecord& record, const Options& options, RunContext& context) {
  json crops = json::array();
  for (const MarkPlace& place : control_marks(record, options, context)) {
    pictures.marks.push_back({{"frame", place.frame},
                              {"name", place.name},
                              {"marked", position(place.marked)},
                              {"expected", position(place.expected)},
                              {"area", {place.left_px, place.top_px, place.width_px, place.height_px}},
                              {"picture", crops.size()}});
    crops.push_back(base64(place.jpeg));
  }
  pictures.content["mark"] = std::move(crops);
}

}  // namespace

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option({"picture-px", "long side of a frame's picture on the page at most", 160, 4096},
                 options.picture_px);
  visitor.option({"page-megabytes", "size that the page stays below; pictures shrink to fit", 4, 400},
                 options.page_megabytes);
  visitor.option({"mosaic-tiles", "cut the mosaic into tiles beside the page, to zoom in to its last pixel"},
                 options.mosaic_tiles);
  visitor.option({"full-size-crops", "show a piece of each frame at full size"}, options.full_size_crops);
  visitor.option({"sidecars", "also write verdict and reasons as XMP sidecars"}, options.sidecars);
}

void write(const FlightRecord& record, const Options& options, RunContext& context) {
  Pictures pictures;
  add_frames(pictures, record, options, context);
  add_repeats(pictures, record, options, context);
  add_marks(pictures, record, options, context);
  pictures.content["mosaic"] = base64(mosaic_picture(record, options, context));
  pictures.content["glare"] = base64(glare_picture(record, context));
  pictures.content["surface"] = base64(surface_picture(record, context));
  pictures.content["sources"] = base64(sources_picture(record, context));

  json flight = flight_content(record, context);
  flight["repeats"] = std::move(pictures.repeats);
  flight["marks"] = std::move(pictures.marks);
  flight["mosaic"] =
      mosaic_content(record, options.mosaic_tiles ? write_tiles(record, context) : TilePyramid{}, context);
  flight["files"] = run_files(record, context);
  flight["source_frames"] = source_frames(record);
  write_file(context.out / "report.html",
             filled_page({{"FLIGHT", json_for_page(flight)}, {"PICTURES", json_for_page(pictures.content)}}));
  if (options.sidecars) write_sidecars(record, context.out);
}

}  // namespace lookdown::report
