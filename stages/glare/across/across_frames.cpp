#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <list>
#include <map>
#include <mutex>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/angles.h"
#include "pipeline/base/files/atomic_file.h"
#include "stages/glare/across/clearest_views.h"
#include "stages/glare/across/raised_planes.h"
#include "stages/glare/across/seen_heights.h"
#include "stages/glare/across/view_comparison.h"
#include "stages/glare/frame_masks.h"
#include "stages/glare/glare.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/picture/plane_math.h"
#include "stages/glare/sun/sun_from_glint.h"

namespace lookdown::glare {
namespace {

constexpr int kMostViews = 8;
constexpr double kNoWater = -30;                    // log-odds
constexpr std::int64_t kReadingBytes = 20'000'000;  // a frame at reduced size, and two masks

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

// A mask that the single-frame search wrote; none was written where there is nothing.
cv::Mat written_mask(const std::string& file, cv::Size size, const RunContext& context) {
  if (file.empty()) return cv::Mat::zeros(size, CV_8UC1);
  auto mask = context.reader.grey(context.out / file);
  return mask ? *mask : cv::Mat::zeros(size, CV_8UC1);
}

SearchedFrame read_frame(const FrameRecord& frame, const Options& options, const RunContext& context) {
  FramePixels pixels(context.reader, frame.source, RawPixels::quick);
  const cv::Mat& bgr = pixels.bgr(pixels.reduction_for(kWorkingLongSidePx));
  if (options.write_masks)
    return searched_frame(bgr, written_mask(frame.glare->water_mask_file, bgr.size(), context),
                          written_mask(frame.glare->mask_file, bgr.size(), context));
  // Nothing was kept on disk: the only case in which a frame is searched again.
  const SearchResult found = search_picture(prepare(bgr));
  return searched_frame(bgr, found.water, found.glint.any());
}

// Frames by index, kept small; read again when they have been dropped to stay within the memory budget.
class SearchedFrames {
 public:
  SearchedFrames(const FlightRecord& flight, const Options& options, const RunContext& context)
      : flight_(flight),
        options_(options),
        context_(context),
        budget_bytes_(context.scheduler.memory_bytes() / 8) {}

  /// With where it looks into the glitter, as far as that is known.
  SearchedFrame get(int index, const cv::Mat& field = {}) {
    SearchedFrame frame = get_plain(index);
    frame.field = field;
    return frame;
  }

 private:
  static std::int64_t bytes_of(const SearchedFrame& frame) {
    constexpr int kBytesAPixel = 10;  // of half the working size; the detail has four times as many
    return static_cast<std::int64_t>(frame.bgr.total()) * kBytesAPixel;
  }

  SearchedFrame get_plain(int index) {
    {
      const std::scoped_lock lock(mutex_);
      if (const auto found = kept_.find(index); found != kept_.end()) return found->second;
    }
    SearchedFrame frame = read_frame(flight_.frames[static_cast<std::size_t>(index)], options_, context_);
    const std::scoped_lock lock(mutex_);
    while (!order_.empty() && bytes_ + bytes_of(frame) > budget_bytes_) {
      bytes_ -= bytes_of(kept_.at(order_.front()));
      kept_.erase(order_.front());
      order_.pop_front();
    }
    if (kept_.emplace(index, frame).second) {
      order_.push_back(index);
      bytes_ += bytes_of(frame);
    }
    return frame;
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

// Luma and two masks at full size, and some tens of planes of working size.
std::int64_t comparing_bytes(const FlightRecord& flight, const std::vector<int>& members) {
  constexpr std::int64_t kWorkingBytes = 60'000'000;
  std::int64_t most_pixels = 1;
  for (const int index : members)
    most_pixels = std::max(most_pixels, std::int64_t{flight.frames[index].source.width_px} *
                                            flight.frames[index].source.height_px);
  return kWorkingBytes + 4 * most_pixels;
}

// The group's sun as its own glint shows it, on the ring of the right elevation when place and time are
// known.
std::optional<GlintSun> sun_of_group(const FlightRecord& flight, const std::vector<int>& members,
                                     const std::vector<PlacedCamera>& places, SearchedFrames& searched,
                                     const Options& options, RunContext& context) {
  SkySearch search;
  if (const auto sun = sun_of_frame(flight.frames[members[members.size() / 2]].info, options);
      sun && sun->elevation_deg > 0)
    search.elevation_rad = sun->elevation_deg * kDegree;
  // A few frames tell as much as many; every n-th of a long flight is asked.
  constexpr std::size_t kFrames = 60;
  const std::size_t step = (members.size() + kFrames - 1) / kFrames;
  std::vector<std::vector<GlintSample>> of_frame(members.size());
  context.scheduler.for_each_frame((members.size() + step - 1) / step, kReadingBytes,
                                   [&](std::size_t k) {
                                     of_frame[k * step] =
                                         glint_samples(searched.get(members[k * step]), places[k * step]);
                                   },
                                   [](std::size_t, const std::optional<Fault>&) {});
  std::vector<GlintSample> samples;
  for (const auto& more : of_frame) samples.insert(samples.end(), more.begin(), more.end());
  return sun_from_glint(samples, search);
}

std::string about(const GlintSun& sun) {
  const double azimuth_deg = std::fmod(std::atan2(sun.to_sun.x(), sun.to_sun.y()) / kDegree + 360, 360);
  return fmt::format(
      "Glint points to a sun {:.0f} degrees high, {:.0f} degrees clockwise from the mosaic's up, over waves "
      "of mean square slope {:.4f}.",
      std::asin(sun.to_sun.z()) / kDegree, azimuth_deg, sun.mean_square_slope);
}

// A mask of a few thousand pixels is enough to tell how much of a spot is hidden.
cv::Mat coarse(const cv::Mat& mask) {
  constexpr int kLongSidePx = 160;
  cv::Mat small;
  const double factor = std::min(1.0, static_cast<double>(kLongSidePx) / std::max(mask.cols, mask.rows));
  cv::resize(
      mask, small,
      {std::max(1, static_cast<int>(mask.cols * factor)), std::max(1, static_cast<int>(mask.rows * factor))},
      0, 0, cv::INTER_AREA);
  return small;
}

// What the comparison found of a frame. Masks wait as files do until the whole group has been compared: no
// frame may be compared with another's refined answer.
struct Refined {
  Glare glare;
  std::string glare_png, water_png;  // empty: nothing to write
  cv::Mat coarse_glare;
};

const cv::Mat& reduced_bgr(FramePixels& pixels) {
  return pixels.bgr(pixels.reduction_for(2 * kWorkingLongSidePx));
}

// The name under which a mask was written. One that holds nothing is not, and what an earlier answer wrote
// goes.
std::string write_mask(const std::filesystem::path& out, const std::string& name, const std::string& png) {
  if (png.empty()) {
    std::error_code absent;
    std::filesystem::remove(out / name, absent);
    return "";
  }
  write_file(out / name, png);
  return name;
}

void enter(FrameRecord& frame, const Refined& refined, const RunContext& context) {
  const std::optional<MirrorPoint> mirror_point = frame.glare->mirror_point;
  *frame.glare = refined.glare;
  frame.glare->mirror_point = mirror_point;
  const std::string stem = "masks/" + frame.source.stem;
  frame.glare->mask_file = write_mask(context.out, stem + "_glare.png", refined.glare_png);
  frame.glare->water_mask_file = write_mask(context.out, stem + "_water.png", refined.water_png);
}

// Frames that look at the same plane and whose verdict does not forbid to believe them.
std::map<int, std::vector<int>> groups_of(const FlightRecord& flight) {
  std::map<int, std::vector<int>> groups;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    const FrameRecord& frame = flight.frames[i];
    if (frame.placement.placed && frame.glare && frame.decision.verdict != Verdict::drop)
      groups[frame.placement.group].push_back(static_cast<int>(i));
  }
  return groups;
}

// The sums of glare shares before and after, over the frames that were compared.
struct Comparison {
  double before = 0, after = 0;
  int frames = 0;
};

// What the frames of one group know before any of them is compared; all of one length.
struct GroupViews {
  int group;                 // 0: the one with the raised planes
  std::vector<int> members;  // indices of the record's frames
  std::vector<PlacedCamera> places;
  std::vector<std::vector<int>> views;  // which of the others each is compared with
  std::optional<GlintSun> sun;
  std::vector<cv::Mat> fields;  // where the sun can glitter; empty without one

  GroupViews(const FlightRecord& flight, int group, std::vector<int> of_group, SearchedFrames& searched,
             const Options& options, RunContext& context)
      : group(group),
        members(std::move(of_group)),
        places(placed_cameras(flight, members)),
        views(choose_views(places, kMostViews)),
        sun(sun_of_group(flight, members, places, searched, options, context)),
        fields(members.size()) {
    if (sun)
      for (std::size_t i = 0; i < members.size(); ++i) fields[i] = glitter_of(*sun, places[i]);
  }
};

// The views that a frame is compared with.
struct Views {
  std::vector<SearchedFrame> frames;
  std::vector<PlacedView> placed;

  Views(const GroupViews& known, std::size_t i, SearchedFrames& searched) {
    for (const int j : known.views[i]) frames.push_back(searched.get(known.members[j], known.fields[j]));
    for (std::size_t k = 0; k < frames.size(); ++k)
      placed.push_back({&frames[k], &known.places[known.views[i][k]]});
  }
};

// What is known of a frame before it is known what the flight's water looks like.
struct FrameDetail {
  cv::Mat coarse_glare;  // by the frame alone
  KnownPatches known;    // none: no other view, or a frame that cannot be read
  BelowWater below;
  std::vector<double> log_gains;
};

// What is known of the flight.
struct FlightLook {
  std::vector<double> log_exposures;
  std::optional<LearnedLook> look;

  FlightLook(const GroupViews& known, const std::vector<FrameDetail>& details) {
    std::vector<std::vector<double>> log_gains;
    log_gains.reserve(details.size());
    for (const FrameDetail& detail : details) log_gains.push_back(detail.log_gains);
    log_exposures = glare::log_exposures(known.views, log_gains);
    LookSamples samples;
    for (std::size_t i = 0; i < details.size(); ++i) samples.add(details[i].known.samples, log_exposures[i]);
    look = LearnedLook::from(samples);
  }
};

// Where no water can be; `size` stretched over the frame.
cv::Mat raised_in(const FlightRecord& flight, const GroupViews& known, std::size_t i, cv::Size size) {
  return known.group == 0 ? raised_planes_in(flight.placement, known.places[i], size)
                          : cv::Mat(cv::Mat::zeros(size, CV_8UC1));
}

FrameDetail detail_of_frame(const FlightRecord& flight, const GroupViews& known, std::size_t i,
                            SearchedFrames& searched, const RunContext& context) {
  FrameDetail detail;
  SearchedFrame own = searched.get(known.members[i]);
  const cv::Mat raised = raised_in(flight, known, i, own.bgr.size());
  own.water = own.water & ~raised;
  detail.coarse_glare = coarse(own.glint);
  if (known.views[i].empty()) return detail;
  const Views views(known, i, searched);
  const cv::Mat heights =
      seen_heights(own, known.places[i], views.placed, heights_to_look_at(flight.placement, known.places[i]));
  const SightGrid grid(known.places[i], own.bgr.size());
  std::vector<OverlaidView> others;
  for (const PlacedView& other : views.placed)
    others.push_back(overlay(*other.frame, *other.place, grid, heights));
  const ComparedFrame compared = compare_views(own, others);
  Motion motion = compare_detail(own, known.places[i], views.placed, heights).motion(own.bgr);
  motion.moving.setTo(kNoWater, raised);
  FramePixels pixels(context.reader, flight.frames[known.members[i]].source, RawPixels::quick);
  const WorkingPicture picture =
      prepare_look(reduced_bgr(pixels), {pixels.source().width_px, pixels.source().height_px});
  const SurfaceLook look = surface_look(picture);
  SeenPatches seen = seen_patches(picture, look);
  const UsualLook usual = usual_look(picture);
  const cv::Mat water = water_beyond_views(picture, look, usual, compared, motion);
  detail.known = known_patches(std::move(seen), usual, water, compared, motion);
  detail.below = compared.below;
  detail.log_gains = compared.log_gains;
  return detail;
}

Refined compare_frame(const FlightRecord& flight, const GroupViews& known, std::size_t i,
                      const FrameDetail& detail, const FlightLook& of_flight, const Options& options,
                      const RunContext& context) {
  const FrameRecord& frame = flight.frames[known.members[i]];
  cv::Mat water = water_by_look(detail.known, of_flight.look, of_flight.log_exposures[i]);
  water.setTo(0, raised_in(flight, known, i, water.size()));
  if (cv::countNonZero(water) == 0) return {shares_without_water(), {}, {}, cv::Mat::zeros(1, 1, CV_8UC1)};
  FramePixels pixels(context.reader, frame.source, RawPixels::quick);
  const WorkingPicture picture = prepare(reduced_bgr(pixels), pixels.grey());
  // The waves' slope is known from the glint itself, and only guessed from place and time.
  const GlintPrior prior = known.sun ? glint_prior(*known.sun, known.places[i], picture.bgr.size())
                                     : placed_prior(flight, frame, options);
  const Glint glint = glint_beyond_views(picture, detail.known, water, detail.below, prior);
  const FrameMasks masks = frame_masks(water | glint.field, glint, pixels.grey());
  Refined refined{shares_of(masks, glint), {}, {}, coarse(masks.glare)};
  if (options.write_masks && refined.glare.glare_share > 0) refined.glare_png = mask_png(masks.glare);
  if (options.write_masks && refined.glare.water_share > 0) refined.water_png = mask_png(masks.water);
  return refined;
}

Comparison compare_group(FlightRecord& flight, const GroupViews& known, SearchedFrames& searched,
                         const Options& options, RunContext& context) {
  const std::size_t count = known.members.size();
  std::vector<MaskedView> masked;
  std::vector<Refined> answers(count);
  std::vector<char> compared(count, 0);
  std::vector<FrameDetail> details(count);
  context.scheduler.for_each_frame(
      count, comparing_bytes(flight, known.members),
      [&](std::size_t i) { details[i] = detail_of_frame(flight, known, i, searched, context); },
      [](std::size_t, const std::optional<Fault>&) {});
  const FlightLook of_flight(known, details);
  context.scheduler.for_each_frame(
      count, comparing_bytes(flight, known.members),
      [&](std::size_t i) {
        if (details[i].known.patches.count() > 0)
          answers[i] = compare_frame(flight, known, i, details[i], of_flight, options, context);
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        compared[i] = !fault && details[i].known.patches.count() > 0;
        const cv::Mat& glare = compared[i] ? answers[i].coarse_glare : details[i].coarse_glare;
        if (!glare.empty()) masked.push_back({known.places[i], glare, known.members[i]});
      });
  Comparison sums;
  for (std::size_t i = 0; i < count; ++i) {
    if (!compared[i]) continue;
    FrameRecord& frame = flight.frames[known.members[i]];
    sums.before += frame.glare->glare_share;
    enter(frame, answers[i], context);
    sums.after += frame.glare->glare_share;
    ++sums.frames;
  }
  record_clearest_views(flight, known.group, masked);
  return sums;
}

}  // namespace

void refine_across_frames(FlightRecord& flight, const Options& options, RunContext& context) {
  flight.clearest_views.clear();
  SearchedFrames searched(flight, options, context);
  Comparison all;
  for (const auto& [group, members] : groups_of(flight)) {
    const GroupViews known(flight, group, members, searched, options, context);
    if (known.sun) flight.notes.push_back("Glare: " + about(*known.sun));
    const Comparison sums = compare_group(flight, known, searched, options, context);
    all.before += sums.before;
    all.after += sums.after;
    all.frames += sums.frames;
  }
  if (all.frames == 0) return;
  flight.notes.push_back(
      fmt::format("Glare: {} frames were compared with their overlapping views; the mean glare share went "
                  "from {:.2f} % to {:.2f} % of the frame.",
                  all.frames, 100 * all.before / all.frames, 100 * all.after / all.frames));
}

}  // namespace lookdown::glare
