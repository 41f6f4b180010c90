#include "stages/report/report.h"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "pipeline/atomic_file.h"
#include "stages/report/frame_pictures.h"
#include "stages/report/page_content.h"
#include "stages/report/page_template.h"

namespace lookdown::report {
namespace {

using nlohmann::json;

constexpr int kMosaicLongSide_px = 2400;

json pictures_of_frames(const FlightRecord& record, const Options& options, RunContext& context) {
  json whole = json::array();
  json piece = json::array();
  for (const FramePicture& picture : frame_pictures(record, options, context)) {
    whole.push_back(base64(picture.whole));
    piece.push_back(base64(picture.piece));
  }
  return {{"whole", whole}, {"piece", piece}};
}

std::string mosaic_picture(const FlightRecord& record, const Options& options, const RunContext& context) {
  if (!record.mosaic || record.mosaic->preview_file.empty()) return {};
  const cv::Mat preview = cv::imread((context.out / record.mosaic->preview_file).string(), cv::IMREAD_COLOR);
  if (preview.empty()) return {};
  const auto most_bytes = static_cast<std::int64_t>(options.page_megabytes * 1e6 * 0.08);
  return base64(jpeg_within(scaled_to_fit(preview, kMosaicLongSide_px), most_bytes));
}

}  // namespace

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option({"picture-px", "long side of a frame's picture on the page at most", 160, 4096},
                 options.picture_px);
  visitor.option({"page-megabytes", "size that the page stays below; pictures shrink to fit", 4, 400},
                 options.page_megabytes);
  visitor.option({"full-size-crops", "show a piece of each frame at full size"}, options.full_size_crops);
  visitor.option({"sidecars", "also write verdict and reasons as XMP sidecars"}, options.sidecars);
}

void write(const FlightRecord& record, const Options& options, RunContext& context) {
  json pictures = pictures_of_frames(record, options, context);
  pictures["mosaic"] = mosaic_picture(record, options, context);
  const std::string page = filled_page(
      {{"FLIGHT", json_for_page(flight_content(record, context))}, {"PICTURES", json_for_page(pictures)}});
  write_file(context.out / "report.html", page);
}

}  // namespace lookdown::report
