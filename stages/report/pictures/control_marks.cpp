#include "stages/report/pictures/control_marks.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/core.hpp>
#include <stdexcept>

#include "pipeline/base/files/csv.h"
#include "stages/report/pictures/detail_spot.h"
#include "stages/report/pictures/displayed_frame.h"
#include "stages/report/pictures/frame_pictures.h"

namespace lookdown::report {
namespace {

constexpr int kCrop_px = 160;
constexpr std::size_t kMostPlaces = 300;
constexpr int kMostUnmarkedAPoint = 8;
constexpr double kMarksShare = 0.04;

std::optional<Point2<StoredPx>> expected_position(const FrameRecord& frame, const ControlResidual& point,
                                                  double ground_height) {
  if (!frame.placement.placed || frame.placement.group != 0) return std::nullopt;
  double depth = 0;
  const Camera& camera = frame.placement.camera;
  const auto seen =
      project(frame.placement.pose, camera, {point.x, point.y, point.z - ground_height}, &depth);
  if (depth <= 0 || std::hypot(seen.x - camera.cx_px, seen.y - camera.cy_px) > camera.monotonic_radius_px())
    return std::nullopt;
  const Point2<StoredPx> stored = camera.distort(seen);
  const bool inside = stored.x >= 0 && stored.y >= 0 && stored.x <= frame.source.width_px - 1 &&
                      stored.y <= frame.source.height_px - 1;
  return inside ? std::optional(stored) : std::nullopt;
}

std::vector<MarkPlace> marks_from(const std::string& file, const FlightRecord& record) {
  std::vector<MarkPlace> places;
  if (file.empty()) return places;
  std::map<std::string, int> index_of;
  for (std::size_t i = 0; i < record.frames.size(); ++i)
    index_of[record.frames[i].source.file] = static_cast<int>(i);
  try {
    const CsvTable table = CsvTable::read(file, {"file", "name", "x_px", "y_px"});
    for (std::size_t row = 0; row < table.rows() && places.size() < kMostPlaces; ++row) {
      const auto frame = index_of.find(table.text(row, "file"));
      if (frame == index_of.end()) continue;
      MarkPlace place;
      place.frame = frame->second;
      place.name = table.text(row, "name");
      place.marked = Point2<StoredPx>{table.number(row, "x_px"), table.number(row, "y_px")};
      places.push_back(std::move(place));
    }
  } catch (const std::runtime_error&) {
    places.clear();
  }
  return places;
}

void add_expected(std::vector<MarkPlace>& places, const FlightRecord& record) {
  for (const ControlResidual& point : record.placement.accuracy.points) {
    int unmarked = 0;
    for (std::size_t i = 0; i < record.frames.size(); ++i) {
      const auto expected = expected_position(record.frames[i], point, record.placement.ground_height);
      if (!expected) continue;
      const auto place = std::find_if(places.begin(), places.end(), [&](const MarkPlace& known) {
        return known.frame == static_cast<int>(i) && known.name == point.name;
      });
      if (place != places.end()) {
        place->expected = expected;
      } else if (places.size() < kMostPlaces && unmarked++ < kMostUnmarkedAPoint &&
                 record.frames[i].decision.verdict != Verdict::drop) {
        MarkPlace empty;
        empty.frame = static_cast<int>(i);
        empty.name = point.name;
        empty.expected = expected;
        places.push_back(std::move(empty));
      }
    }
  }
}

void crop(MarkPlace& place, const FrameRecord& frame, FramePixels& pixels, std::int64_t most_bytes) {
  const Point2<StoredPx>& middle = place.marked ? *place.marked : *place.expected;
  const cv::Mat shown = turned_for_display(pixels.bgr(1), frame.source.orientation);
  const DisplayedShare share = DisplayedFrame(frame.source).share(middle);
  const cv::Rect area = rectangle_around({cvRound(share.x * shown.cols), cvRound(share.y * shown.rows)},
                                         {kCrop_px, kCrop_px}, shown.size());
  place.left_px = area.x;
  place.top_px = area.y;
  place.width_px = area.width;
  place.height_px = area.height;
  place.jpeg = jpeg_within(shown(area).clone(), most_bytes);
}

}  // namespace

std::vector<MarkPlace> control_marks(const FlightRecord& record, const Options& options,
                                     RunContext& context) {
  std::vector<MarkPlace> places = marks_from(options.marks_file, record);
  add_expected(places, record);
  std::stable_sort(places.begin(), places.end(),
                   [](const MarkPlace& a, const MarkPlace& b) { return a.name < b.name; });
  if (places.empty()) return places;

  std::map<int, std::vector<std::size_t>> places_of_frame;
  for (std::size_t i = 0; i < places.size(); ++i) places_of_frame[places[i].frame].push_back(i);
  const std::vector<std::pair<int, std::vector<std::size_t>>> work(places_of_frame.begin(),
                                                                   places_of_frame.end());
  std::int64_t peak_bytes = 1;
  for (const auto& [index, indices] : work) {
    const FrameSource& source = record.frames[index].source;
    peak_bytes = std::max(peak_bytes, std::int64_t{7} * source.width_px * source.height_px);
  }
  const auto most_bytes = static_cast<std::int64_t>(
      std::min(20e3, options.page_megabytes * 1e6 * kMarksShare / static_cast<double>(places.size())));
  context.scheduler.for_each_frame(
      work.size(), peak_bytes,
      [&](std::size_t i) {
        // cppcheck-suppress containerOutOfBounds ; called for i below work.size()
        const auto& [index, indices] = work[i];
        const FrameRecord& frame = record.frames[index];
        if (frame.fault) return;
        FramePixels pixels(context.reader, frame.source);
        for (const std::size_t place : indices) crop(places[place], frame, pixels, most_bytes);
      },
      [](std::size_t, const std::optional<Fault>&) {});
  return places;
}

}  // namespace lookdown::report
