#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <list>
#include <map>
#include <mutex>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/atomic_file.h"
#include "stages/glare/added_light.h"
#include "stages/glare/clearest_views.h"
#include "stages/glare/glare.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/sun_from_glint.h"
#include "stages/glare/view_comparison.h"

namespace lookdown::glare {
namespace {

constexpr int kMostViews = 8;
constexpr int kBytesAPixel = 7;  // of a searched frame

// Where a frame is placed against true north and the sun is known, physics says where glint can be at all.
GlintPrior placed_prior(const FlightRecord& flight, const FrameRecord& frame, const Options& options) {
  GlintPrior prior;
  const std::optional<SunPosition> sun = sun_of_frame(frame.info, options);
  if (!sun || flight.placement.north_from.empty() || flight.placement.north_from == "arbitrary") return prior;
  const Prediction expected = predict(frame.placement.pose, frame.placement.camera, *sun, wave_slope(options),
                                      options.refractive_index, 64, 48);
  prior.odds = cv::Mat(expected.glint->size(), CV_32FC1);
  std::transform(expected.glint->begin<float>(), expected.glint->end<float>(), prior.odds.begin<float>(),
                 odds_of_facets);
  return prior;
}

SearchedFrame search_frame(const FlightRecord& flight, const FrameRecord& frame, const Options& options,
                           const RunContext& context) {
  FramePixels pixels(context.reader, frame.source);
  return searched_frame(pixels.bgr(pixels.reduction_for(2 * kWorkingLongSidePx)),
                        placed_prior(flight, frame, options));
}

// Searched frames by index, searched again when they have been dropped to stay within the memory budget.
class SearchedFrames {
 public:
  SearchedFrames(const FlightRecord& flight, const Options& options, const RunContext& context)
      : flight_(flight),
        options_(options),
        context_(context),
        budget_bytes_(context.scheduler.memory_bytes() / 3) {}

  /// With where it looks into the glitter, as far as that is known.
  SearchedFrame get(int index, const cv::Mat& field = {}) {
    SearchedFrame frame = get_plain(index);
    frame.field = field;
    return frame;
  }

 private:
  SearchedFrame get_plain(int index) {
    {
      const std::scoped_lock lock(mutex_);
      if (const auto found = kept_.find(index); found != kept_.end()) return found->second;
    }
    SearchedFrame searched = search_frame(flight_, flight_.frames[index], options_, context_);
    const std::scoped_lock lock(mutex_);
    const std::int64_t bytes = static_cast<std::int64_t>(searched.bgr.total()) * kBytesAPixel;
    while (!order_.empty() && bytes_ + bytes > budget_bytes_) {
      bytes_ -= static_cast<std::int64_t>(kept_.at(order_.front()).bgr.total()) * kBytesAPixel;
      kept_.erase(order_.front());
      order_.pop_front();
    }
    if (kept_.emplace(index, searched).second) {
      order_.push_back(index);
      bytes_ += bytes;
    }
    return searched;
  }

  const FlightRecord& flight_;
  const Options& options_;
  const RunContext& context_;
  std::int64_t budget_bytes_;
  std::int64_t bytes_ = 0;
  std::mutex mutex_;
  std::map<int, SearchedFrame> kept_;
  std::list<int> order_;
};

cv::Mat own_chance(const SearchedFrame& frame) {
  cv::Mat chance;
  frame.glare.convertTo(chance, CV_32FC1, 1 / 255.0);
  return chance;
}

void write_mask(const std::filesystem::path& path, const cv::Mat& mask) {
  std::vector<uchar> bytes;
  cv::imencode(".png", mask, bytes, {cv::IMWRITE_PNG_BILEVEL, 1});
  write_file(path, std::string_view(reinterpret_cast<const char*>(bytes.data()), bytes.size()));
}

struct Change {
  double before = 0, after = 0;  // shares of the frame
  double added = 0, taken_away = 0;
};

// Spots in the units of the mosaic's world, for the record.
void record_clearest_views(FlightRecord& flight, int group, const std::vector<MaskedView>& views) {
  constexpr int kSpotsAcross = 16;
  constexpr double kLeastShare = 0.02;
  const auto& to_world = flight.placement.geotransform;
  for (const Spot& spot : clearest_views(views, kSpotsAcross, kLeastShare)) {
    ClearestView view{
        group,     spot.x_px, spot.y_px, spot.side_px, spot.frame, spot.glare_share, spot.worst_glare_share,
        spot.views};
    if (to_world) {
      // Geotransforms count from the corner of the top-left pixel, positions here from its centre.
      view.x = (*to_world)[0] + (spot.x_px + 0.5) * (*to_world)[1] + (spot.y_px + 0.5) * (*to_world)[2];
      view.y = (*to_world)[3] + (spot.x_px + 0.5) * (*to_world)[4] + (spot.y_px + 0.5) * (*to_world)[5];
      view.side = spot.side_px * std::hypot((*to_world)[1], (*to_world)[4]);
    }
    flight.clearest_views.push_back(view);
  }
}

// The group's sun as its own glint shows it, on the ring of the right elevation when place and time are
// known, and where each frame looks into the glitter.
std::optional<GlintSun> sun_of_group(const FlightRecord& flight, const std::vector<int>& members,
                                     const std::vector<std::vector<int>>& views,
                                     const std::vector<PlacedCamera>& places, SearchedFrames& searched,
                                     const Options& options, RunContext& context,
                                     std::vector<cv::Mat>& fields) {
  SkySearch search;
  if (const auto sun = sun_of_frame(flight.frames[members[members.size() / 2]].info, options);
      sun && sun->elevation_deg > 0)
    search.elevation_rad = sun->elevation_deg * std::numbers::pi / 180;
  const auto samples_of = [&](int i, const std::vector<cv::Mat>& known) {
    return glint_samples(i, views, places, [&](int j) { return searched.get(members[j], known[j]); });
  };
  const auto for_each = [&](std::size_t count, const std::function<void(std::size_t)>& body) {
    constexpr std::int64_t kPeakBytes = 60'000'000;
    context.scheduler.for_each_frame(count, kPeakBytes, body,
                                     [](std::size_t, const std::optional<Fault>&) {});
  };
  return sun_of_views(places, search, samples_of, for_each, fields);
}

std::string about(const GlintSun& sun) {
  constexpr double kDegrees = 180 / std::numbers::pi;
  const double azimuth_deg = std::fmod(std::atan2(sun.to_sun.x(), sun.to_sun.y()) * kDegrees + 360, 360);
  return fmt::format(
      "Glint points to a sun {:.0f} degrees high, {:.0f} degrees clockwise from the mosaic's up, over waves "
      "of mean square slope {:.4f}.",
      std::asin(sun.to_sun.z()) * kDegrees, azimuth_deg, sun.mean_square_slope);
}

// A mask of a few thousand pixels is enough to tell how much of a spot is hidden.
cv::Mat coarse(const cv::Mat& glare_chance) {
  constexpr int kLongSidePx = 160;
  const cv::Mat mask = glare_chance > 0.5f;
  cv::Mat small;
  const double factor = std::min(1.0, static_cast<double>(kLongSidePx) / std::max(mask.cols, mask.rows));
  cv::resize(
      mask, small,
      {std::max(1, static_cast<int>(mask.cols * factor)), std::max(1, static_cast<int>(mask.rows * factor))},
      0, 0, cv::INTER_AREA);
  return small;
}

Change refine_frame(FrameRecord& frame, const SearchedFrame& own, const ComparedFrame& compared,
                    const Options& options, const RunContext& context) {
  FramePixels pixels(context.reader, frame.source);
  const auto [water, glare] = masks_above(compared.water, compared.limit, pixels.grey());

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
  if (options.write_masks && !record.water_mask_file.empty())
    write_mask(context.out / record.water_mask_file, water);
  return change;
}

}  // namespace

void refine_across_frames(FlightRecord& flight, const Options& options, RunContext& context) {
  flight.clearest_views.clear();
  std::map<int, std::vector<int>> groups;
  for (std::size_t i = 0; i < flight.frames.size(); ++i)
    if (flight.frames[i].placement.placed && flight.frames[i].glare)
      groups[flight.frames[i].placement.group].push_back(static_cast<int>(i));

  SearchedFrames searched(flight, options, context);
  Change sum;
  int refined = 0;
  for (const auto& [group, members] : groups) {
    const std::vector<PlacedCamera> places = placed_cameras(flight, members);
    const auto views = choose_views(places, kMostViews);

    std::vector<cv::Mat> fields;
    const std::optional<GlintSun> sun =
        sun_of_group(flight, members, views, places, searched, options, context, fields);
    if (sun) flight.notes.push_back("Glare: " + about(*sun));
    std::vector<Change> changes(members.size());
    std::vector<MaskedView> masked(members.size());
    constexpr std::int64_t kPeakBytes = 220'000'000;
    context.scheduler.for_each_frame(
        members.size(), kPeakBytes,
        [&](std::size_t i) {
          const SearchedFrame own = searched.get(members[i]);
          masked[i] = {places[i], coarse(own_chance(own)), members[i]};
          if (views[i].empty()) return;
          std::vector<OverlaidView> others;
          for (const int j : views[i])
            others.push_back(
                overlay(searched.get(members[j], fields[j]), places[j], places[i], own.bgr.size()));
          // The waves' slope is known from the glint itself, and only guessed from place and time.
          const GlintPrior prior = sun ? glint_prior(*sun, places[i], own.bgr.size())
                                       : placed_prior(flight, flight.frames[members[i]], options);
          const ComparedFrame compared = compare_views(own, others, prior);
          masked[i].glare = coarse(compared.glare);
          changes[i] = refine_frame(flight.frames[members[i]], own, compared, options, context);
        },
        [&](std::size_t i, const std::optional<Fault>& fault) {
          if (fault || views[i].empty()) return;
          ++refined;
          sum.before += changes[i].before;
          sum.after += changes[i].after;
          sum.added += changes[i].added;
          sum.taken_away += changes[i].taken_away;
        });
    std::erase_if(masked, [](const MaskedView& view) { return view.glare.empty(); });
    record_clearest_views(flight, group, masked);
  }
  if (refined == 0) return;
  flight.notes.push_back(
      fmt::format("Glare: {} frames were compared with their overlapping views; the mean glare share went "
                  "from {:.2f} % to {:.2f} % of the frame "
                  "({:.2f} % found only by comparison, {:.2f} % taken back because every view shows it).",
                  refined, 100 * sum.before / refined, 100 * sum.after / refined, 100 * sum.added / refined,
                  100 * sum.taken_away / refined));
}

}  // namespace lookdown::glare
