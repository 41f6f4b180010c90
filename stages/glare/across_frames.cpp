#include <fmt/format.h>

#include <list>
#include <map>
#include <mutex>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/atomic_file.h"
#include "stages/glare/glare.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/view_comparison.h"

namespace lookdown::glare {
namespace {

constexpr int kMostViews = 8;

SearchedFrame search_frame(const FrameRecord& frame, const RunContext& context) {
  FramePixels pixels(context.reader, frame.source);
  return searched_frame(pixels.bgr(pixels.reduction_for(2 * kWorkingLongSidePx)));
}

// Searched frames by index, searched again when they have been dropped to stay within the memory budget.
class SearchedFrames {
 public:
  SearchedFrames(const FlightRecord& flight, const RunContext& context)
      : flight_(flight), context_(context), budget_bytes_(context.scheduler.memory_bytes() / 3) {}

  SearchedFrame get(int index) {
    {
      const std::scoped_lock lock(mutex_);
      if (const auto found = kept_.find(index); found != kept_.end()) return found->second;
    }
    SearchedFrame searched = search_frame(flight_.frames[index], context_);
    const std::scoped_lock lock(mutex_);
    const std::int64_t bytes = static_cast<std::int64_t>(searched.bgr.total()) * 5;
    while (!order_.empty() && bytes_ + bytes > budget_bytes_) {
      bytes_ -= static_cast<std::int64_t>(kept_.at(order_.front()).bgr.total()) * 5;
      kept_.erase(order_.front());
      order_.pop_front();
    }
    if (kept_.emplace(index, searched).second) {
      order_.push_back(index);
      bytes_ += bytes;
    }
    return searched;
  }

 private:
  const FlightRecord& flight_;
  const RunContext& context_;
  std::int64_t budget_bytes_;
  std::int64_t bytes_ = 0;
  std::mutex mutex_;
  std::map<int, SearchedFrame> kept_;
  std::list<int> order_;
};

void write_mask(const std::filesystem::path& path, const cv::Mat& mask) {
  std::vector<uchar> bytes;
  cv::imencode(".png", mask, bytes, {cv::IMWRITE_PNG_BILEVEL, 1});
  write_file(path, std::string_view(reinterpret_cast<const char*>(bytes.data()), bytes.size()));
}

struct Change {
  double before = 0, after = 0;  // shares of the frame
  double added = 0, taken_away = 0;
};

Change refine_frame(FrameRecord& frame, const SearchedFrame& own, const ComparedFrame& compared, const Options& options,
                    const RunContext& context) {
  FramePixels pixels(context.reader, frame.source);
  const auto [water, glare] = masks_from(compared.water, compared.glare, pixels.grey());

  Change change;
  const cv::Mat before = own.glare > 127, after = compared.glare > 0.5f;
  const double total = static_cast<double>(before.total());
  change.before = cv::countNonZero(before) / total;
  change.after = cv::countNonZero(after) / total;
  change.added = cv::countNonZero(after & ~before) / total;
  change.taken_away = cv::countNonZero(before & ~after) / total;

  Glare& record = *frame.glare;
  record.water_share = static_cast<double>(cv::countNonZero(water)) / water.total();
  record.glare_share = static_cast<double>(cv::countNonZero(glare)) / glare.total();
  if (record.water_share > 0.001) {
    record.glare_share_of_water = record.glare_share / record.water_share;
    record.readable_water_share = 1 - *record.glare_share_of_water;
  }
  if (options.write_masks && !record.mask_file.empty()) write_mask(context.out / record.mask_file, glare);
  if (options.write_masks && !record.water_mask_file.empty()) write_mask(context.out / record.water_mask_file, water);
  return change;
}

}  // namespace

void refine_across_frames(FlightRecord& flight, const Options& options, RunContext& context) {
  std::map<int, std::vector<int>> groups;
  for (std::size_t i = 0; i < flight.frames.size(); ++i)
    if (flight.frames[i].placement.placed && flight.frames[i].glare)
      groups[flight.frames[i].placement.group].push_back(static_cast<int>(i));

  SearchedFrames searched(flight, context);
  Change sum;
  int refined = 0;
  for (const auto& [group, members] : groups) {
    std::vector<PlacedCamera> places;
    for (const int index : members)
      places.push_back({flight.frames[index].placement.camera, flight.frames[index].placement.mosaic_from_frame});
    const auto views = choose_views(places, kMostViews);

    std::vector<Change> changes(members.size());
    constexpr std::int64_t kPeakBytes = 220'000'000;
    context.scheduler.for_each_frame(
        members.size(), kPeakBytes,
        [&](std::size_t i) {
          if (views[i].empty()) return;
          const SearchedFrame own = searched.get(members[i]);
          std::vector<OverlaidView> others;
          for (const int j : views[i])
            others.push_back(overlay(searched.get(members[j]), places[j], places[i], own.bgr.size()));
          changes[i] = refine_frame(flight.frames[members[i]], own, compare_views(own, others), options, context);
        },
        [&](std::size_t i, const std::optional<Fault>& fault) {
          if (fault || views[i].empty()) return;
          ++refined;
          sum.before += changes[i].before;
          sum.after += changes[i].after;
          sum.added += changes[i].added;
          sum.taken_away += changes[i].taken_away;
        });
  }
  if (refined == 0) return;
  flight.notes.push_back(fmt::format(
      "Glare: {} frames were compared with their overlapping views; the mean glare share went from {:.2f} % to {:.2f} % of the frame "
      "({:.2f} % found only by comparison, {:.2f} % taken back because every view shows it).",
      refined, 100 * sum.before / refined, 100 * sum.after / refined, 100 * sum.added / refined, 100 * sum.taken_away / refined));
}

}  // namespace lookdown::glare
