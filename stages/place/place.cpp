#include "stages/place/place.h"

#include <fmt/core.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "pipeline/base/angles.h"
#include "stages/place/adjustment/component_adjustment.h"
#include "stages/place/adjustment/residual_vectors.h"
#include "stages/place/adjustment/space_adjustment.h"
#include "stages/place/canvas.h"
#include "stages/place/datum/accuracy.h"
#include "stages/place/datum/control_points.h"
#include "stages/place/datum/datum.h"
#include "stages/place/horizon_views.h"
#include "stages/place/image_selection.h"
#include "stages/place/pairs/likely_projection.h"
#include "stages/place/pairs/pair_search.h"
#include "stages/place/pairs/static_keypoints.h"
#include "stages/place/pairs/unregistered_images.h"
#include "stages/place/placement_notes.h"
#include "stages/place/planes/elevated_planes.h"
#include "stages/place/single_image.h"

namespace lookdown::place {
namespace {
/// Of the search for spots alone: placing may change and still find them in the cache.
constexpr const char* kSpotsVersion = "spots/2";
constexpr std::size_t kLeadingSpots = 700;
constexpr int kTooFewSpots = 40;

/// 255 where nothing can be tied: glare on water, and the sky with what moves or stands far off near the
/// skyline.
cv::Mat left_out_areas(const FrameRecord& frame, const std::filesystem::path& out) {
  cv::Mat left_out;
  if (frame.glare && !frame.glare->mask_file.empty())
    left_out = cv::imread((out / frame.glare->mask_file).string(),
                          cv::IMREAD_GRAYSCALE | cv::IMREAD_IGNORE_ORIENTATION);
  if (!frame.horizon) return left_out;
  if (left_out.empty()) left_out = cv::Mat::zeros(frame.source.height_px, frame.source.width_px, CV_8UC1);
  const auto& [a, b, c] = frame.horizon->line;
  const double below_skyline_px = -0.02 * frame.source.height_px;
  // The line lies in undistorted pixels: a barrel lens would carry it over the ground.
  constexpr int kCell = 8;
  for (int y = 0; y < left_out.rows; y += kCell)
    for (int x = 0; x < left_out.cols; x += kCell) {
      const auto flat = frame.info.camera.undistort({x + 0.5 * kCell, y + 0.5 * kCell});
      if (a * flat.x + b * flat.y + c > below_skyline_px)
        left_out(cv::Rect(x, y, kCell, kCell) & cv::Rect(0, 0, left_out.cols, left_out.rows)) = 255;
    }
  return left_out;
}

void find_spots(FlightRecord& flight, Participants& chosen, RunContext& context) {
  const FeatureOptions options;
  std::vector<char> readable(chosen.frames.size(), 1);
  std::int64_t peak_bytes = 8'000'000;
  for (const TieFrame& f : chosen.frames)
    peak_bytes =
        std::max(peak_bytes, std::int64_t(f.camera.width_px) * f.camera.height_px +
                                 peak_bytes_of_search(f.camera.width_px, f.camera.height_px, options));
  context.progress.start("place: spots", chosen.frames.size());
  context.scheduler.for_each_frame(
      chosen.frames.size(), peak_bytes,
      [&](std::size_t i) {
        TieFrame& frame = chosen.frames[i];
        const FrameRecord& record = flight.frames[std::size_t(frame.record)];
        const cv::Mat left_out = left_out_areas(record, context.out);
        const std::string mask_words =
            left_out.empty() ? "" : digest({reinterpret_cast<const char*>(left_out.data), left_out.total()});
        const std::string key =
            Cache::key(kSpotsVersion, record.source.content_hash, cache_words(options) + mask_words);
        const auto kept = context.cache.find(key);
        if (!kept || !unpack(*kept, frame.features)) {
          FramePixels pixels(context.reader, record.source);
          const int reduction = reduction_for(record.source.width_px, record.source.height_px, options);
          frame.features = find_features(pixels.grey(reduction), record.source.width_px,
                                         record.source.height_px, left_out, options);
          context.cache.keep(key, pack(frame.features));
        }
      },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) flight.frames[std::size_t(chosen.frames[i].record)].placement.why_not = "cannot be read";
        context.progress.step(i + 1);
      });
  context.progress.finish();
  drop_riding_spots(chosen.frames, chosen.camera_of_frame);
  tbb::parallel_for(std::size_t(0), chosen.frames.size(), [&](std::size_t i) {
    chosen.frames[i].leading = widen(chosen.frames[i].features, kLeadingSpots);
    undistort_spots(chosen.frames[i]);
  });
}

std::vector<RoughPosition> rough_positions(const Participants& chosen,
                                           const std::vector<std::optional<MapPosition>>& on_map) {
  std::vector<RoughPosition> positions;
  for (const TieFrame& f : chosen.frames) {
    const auto& known = on_map[std::size_t(f.record)];
    positions.push_back(known ? RoughPosition{true, known->at.x(), known->at.y()} : RoughPosition{});
  }
  return positions;
}

std::string why_untied(const FlightRecord& flight, const TieFrame& frame) {
  const FrameRecord& record = flight.frames[std::size_t(frame.record)];
  if (!record.placement.why_not.empty()) return record.placement.why_not;
  if (record.decision.view == View::horizon) return "looks at the horizon";
  // Blur comes first: what is smooth for want of focus looks like water.
  if (frame.bridge_only) return "too blurred";
  if (record.glare && record.glare->water_share > 0.85) return "only water";
  if (int(frame.features.size()) < kTooFewSpots) return "too little detail";
  return "no overlap found";
}

/// What a group has become, with its datum.
struct PlacedGroup {
  Group group;
  Datum datum;
};

/// The ground under each member: the plane z = 0, or where the group was adjusted in space one of its own.
std::vector<GroundFacet> facets_of(const Group& group) {
  std::vector<GroundFacet> facets(group.members.size());
  if (!group.relief.supported) return facets;
  const auto sightings = sightings_by_frame(group.network);
  for (std::size_t i = 0; i < facets.size(); ++i)
    facets[i] = facet_under(group.network, int(i), sightings[i]);
  return facets;
}

std::vector<CanvasFrame> canvas_frames(const PlacedGroup& placed, const FlightRecord& flight,
                                       const std::vector<TieFrame>& frames) {
  std::vector<CanvasFrame> list;
  const std::vector<GroundFacet> facets = facets_of(placed.group);
  const auto sightings = sightings_by_frame(placed.group.network);
  bool any_kept = false;
  for (std::size_t i = 0; i < placed.group.members.size(); ++i) {
    const Network& n = placed.group.network;
    const Decision& decision =
        flight.frames[std::size_t(frames[std::size_t(placed.group.members[i])].record)].decision;
    const bool shown = placed.group.held_firmly[i] && decision.verdict != Verdict::drop;
    any_kept = any_kept || shown;
    const bool fills = placed.group.held_firmly[i] && dropped_for_blur_alone(decision);
    const double below = placed.group.relief.supported ? depth_below(facets[i], n, sightings[i]) : 0;
    list.push_back({n.camera_of(i), n.poses[i], shown, fills, facets[i], below});
  }
  if (!any_kept)
    for (std::size_t i = 0; i < list.size(); ++i) list[i].shown = placed.group.held_firmly[i];
  return list;
}

/// When nothing gives metres one world unit is one pixel of the mosaic, and the world begins at its upper
/// left corner.
Canvas one_unit_a_pixel(PlacedGroup& placed, const FlightRecord& flight,
                        const std::vector<TieFrame>& frames) {
  Canvas canvas = choose_canvas(canvas_frames(placed, flight, frames), 0);
  apply({1 / canvas.gsd, 0, Eigen::Vector2d(-canvas.west, -canvas.north) / canvas.gsd}, placed.group.network);
  canvas.west = canvas.north = 0;
  canvas.gsd = 1;
  return canvas;
}

void write_frames(const PlacedGroup& placed, int number,
                  const Homography<MosaicPx, Ground>& mosaic_from_ground, const std::vector<TieFrame>& frames,
                  const std::vector<Tie>& ties, FlightRecord& flight) {
  const Group& group = placed.group;
  const auto sightings = sightings_by_frame(group.network);
  const std::vector<GroundFacet> facets = facets_of(group);
  for (std::size_t i = 0; i < group.members.size(); ++i) {
    const TieFrame& frame = frames[std::size_t(group.members[i])];
    FramePlacement& p = flight.frames[std::size_t(frame.record)].placement;
    if (!group.held_firmly[i]) {
      const bool to_horizon = flight.frames[std::size_t(frame.record)].decision.view == View::horizon;
      p.why_not = to_horizon ? "looks at the horizon" : frame.bridge_only ? "too blurred" : "inconsistent";
      continue;
    }
    p.placed = true;
    p.group = number;
    p.camera = group.network.camera_of(i);
    p.camera.focal_from = "adjustment";
    p.camera.distortion_from = "adjustment";
    p.pose = group.network.poses[i];
    p.mosaic_from_frame = mosaic_from_ground * ground_from_frame(p.pose, p.camera, facets[i]);
    p.mosaic_from_frame.matrix /= p.mosaic_from_frame.matrix(2, 2);
    p.misfits = misfits_of(group.network, static_cast<int>(i), sightings[i], p.mosaic_from_frame);
    // Heights stay above the ground plane; only the position on it is that of the map.
    p.pose.centre.head<2>() += placed.datum.origin.head<2>();
    p.rmse_px = group.rmse_px[i];
    p.off_nadir_sigma_deg = group.tilt_sigma_rad[i] / kDegree;
    p.tie_points = group.sights[i];
  }
  for (const Tie& t : ties) {
    FramePlacement& a = flight.frames[std::size_t(frames[std::size_t(t.a)].record)].placement;
    FramePlacement& b = flight.frames[std::size_t(frames[std::size_t(t.b)].record)].placement;
    if (!a.placed || !b.placed || a.group != number || b.group != number) continue;
    a.neighbours.push_back(frames[std::size_t(t.b)].record);
    b.neighbours.push_back(frames[std::size_t(t.a)].record);
  }
}

std::vector<ControlPoint> control_of(const Options& options, FlightRecord& flight) {
  if (options.control_file.empty() && options.marks_file.empty()) return {};
  return read_control(options.control_file, options.marks_file, options.check, flight, flight.warnings);
}

/// Ties between members that the group does not hold: a part that hung on the rest by a thread that broke.
std::vector<Tie> ties_among_rest(const Group& group, const std::vector<Tie>& ties) {
  const auto left = [&](int member) {
    const int place = place_of(group, member);
    return place >= 0 && !group.held_firmly[std::size_t(place)];
  };
  std::vector<Tie> among;
  for (const Tie& t : ties)
    if (left(t.a) && left(t.b)) among.push_back(t);
  return among;
}

/// What one group has taught of the cameras is known beforehand in the next.
void carry_cameras_over(const Group& group, std::vector<KnownCamera>& cameras) {
  if (group.members.size() < 3) return;
  for (std::size_t c = 0; c < cameras.size(); ++c) {
    const auto& used = group.network.camera_of_frame;
    if (std::find(used.begin(), used.end(), int(c)) == used.end()) continue;
    cameras[c].prior = group.network.cameras[c];
    cameras[c].focal_sigma_share = std::min(cameras[c].focal_sigma_share, 0.01);
    cameras[c].k1_sigma = std::min(cameras[c].k1_sigma, 0.01);
    cameras[c].k2_sigma = std::min(cameras[c].k2_sigma, 0.01);
  }
}

void write_planes(const PlacedGroup& placed, const Canvas& canvas, const std::vector<TieFrame>& frames,
                  FlightPlacement& p) {
  p.plane_heights = {0};
  // Where the ground itself has relief a level plane is no sign of a roof: the surface tells what stands
  // there.
  if (placed.group.tilt_is_a_guess || placed.group.relief.supported) return;
  const auto mosaic_from_ground = canvas.mosaic_from_ground();
  for (const LevelPlane& found : level_planes(frames, placed.group)) {
    RaisedPlane plane{found.height, found.sigma, {}, found.tie_points};
    for (const auto& outline : found.outlines) {
      plane.outlines_px.emplace_back();
      for (const Eigen::Vector2d& corner : outline) {
        const auto at = mosaic_from_ground * Point2<Ground>{corner.x(), corner.y()};
        plane.outlines_px.back().push_back({at.x, at.y});
      }
    }
    p.plane_heights.push_back(plane.height);
    p.raised_planes.push_back(std::move(plane));
  }
}

/// The first group decides canvas, scale and accuracy.
void write_first_group(const PlacedGroup& placed, const Canvas& canvas,
                       const std::vector<ControlPoint>& control, const Participants& chosen,
                       FlightRecord& flight) {
  FlightPlacement& p = flight.placement;
  const Datum& datum = placed.datum;
  p.crs = datum.crs;
  p.scale_from = datum.scale_from;
  p.scale_sigma_share = datum.scale_sigma_share;
  p.north_from = datum.north_from;
  if (datum.metric) {
    p.gsd_m = canvas.gsd;
    p.geotransform = {canvas.west + datum.origin.x(),  canvas.gsd, 0,
                      canvas.north + datum.origin.y(), 0,          -canvas.gsd};
  }
  if (const Relief& relief = placed.group.relief; relief.supported) {
    const double height = flying_height(placed.group.network);
    p.relief_spread = relief.spread * height;
    p.lowest_tie_point = relief.lowest * height;
    p.highest_tie_point = relief.highest * height;
    p.height_sigma = relief.height_sigma * height;
    note_relief(relief, flight);
  }
  p.mosaic_width_px = canvas.width_px;
  p.mosaic_height_px = canvas.height_px;
  write_planes(placed, canvas, chosen.frames, p);
  note_planes(flight);
  p.ground_height = datum.origin.z();
  p.accuracy = assess(placed.group, datum, control, chosen.frames);
}

/// True for frames that are doubted for their look and share what they show with each other alone, feet with
/// feet: no part of the flight. Says so of each.
bool show_something_else(FlightRecord& flight, const Participants& chosen, const std::vector<int>& members) {
  const auto record_of = [&](int member) -> FrameRecord& {
    return flight.frames[std::size_t(chosen.frames[std::size_t(member)].record)];
  };
  if (!std::all_of(members.begin(), members.end(),
                   [&](int member) { return record_of(member).decision.view == View::other; }))
    return false;
  for (const int member : members) record_of(member).placement.why_not = "no overlap found";
  return true;
}

int held_members(const Group& group) {
  return int(std::count(group.held_firmly.begin(), group.held_firmly.end(), true));
}

/// Every part of the flight that hangs together, each adjusted by itself, the one with the most frames first.
/// `ties` loses those of frames that turn out to look at the horizon.
std::vector<PlacedGroup> adjusted_parts(FlightRecord& flight, Participants& chosen, std::vector<Tie>& ties) {
  std::vector<PlacedGroup> parts;
  std::vector<KnownCamera> cameras = chosen.cameras;
  std::vector<std::vector<int>> groups = connected_groups(chosen.frames.size(), ties);
  for (std::size_t next = 0; next < groups.size(); ++next) {
    const std::vector<int> members = groups[next];
    stop_if_requested();
    if (!parts.empty() && show_something_else(flight, chosen, members)) continue;
    const GroupInput input{chosen.frames, ties, cameras, chosen.camera_of_frame, chosen.tilts};
    Group group = adjust_group(input, members);
    set_views_to_horizon_aside(chosen.frames, group, ties, flight);
    if (held_members(group) == 0) continue;
    // What does not hold to this group may yet hold together.
    for (auto& rest : connected_groups(chosen.frames.size(), ties_among_rest(group, ties)))
      groups.push_back(std::move(rest));
    carry_cameras_over(group, cameras);
    parts.push_back({std::move(group), {}});
  }
  std::stable_sort(parts.begin(), parts.end(), [](const PlacedGroup& a, const PlacedGroup& b) {
    return held_members(a.group) > held_members(b.group);
  });
  return parts;
}

/// Indices of the records that each part holds.
std::vector<std::vector<int>> records_of(const std::vector<PlacedGroup>& parts,
                                         const std::vector<TieFrame>& frames) {
  std::vector<std::vector<int>> records;
  for (const PlacedGroup& part : parts) {
    std::vector<int> own;
    for (std::size_t i = 0; i < part.group.members.size(); ++i)
      if (part.group.held_firmly[i]) own.push_back(frames[std::size_t(part.group.members[i])].record);
    records.push_back(std::move(own));
  }
  return records;
}

}  // namespace

void place(FlightRecord& flight, const Options& options, RunContext& context) {
  flight.placement = {};
  Participants chosen = choose_participants(flight);
  const std::vector<ControlPoint> control = control_of(options, flight);
  std::string positions_crs;
  const auto on_map = map_positions(flight, options, positions_crs);
  find_spots(flight, chosen, context);
  guess_projections(chosen.frames, chosen.camera_of_frame, chosen.cameras);

  PairMemory memory(context.cache, chosen.frames);
  std::vector<Tie> ties = search_pairs(chosen.frames, rough_positions(chosen, on_map), {}, memory);
  memory.keep();
  tie_stubborn_frames(flight, chosen, ties, context);
  settle_horizon_views(chosen.frames, ties, flight);
  for (std::size_t i = 0; i < chosen.frames.size(); ++i)
    if (!flight.frames[std::size_t(chosen.frames[i].record)].tilt) chosen.tilts[i] = {};
  for (const TieFrame& f : chosen.frames)
    flight.frames[std::size_t(f.record)].placement.why_not = why_untied(flight, f);

  std::vector<PlacedGroup> parts = adjusted_parts(flight, chosen, ties);
  const auto shown =
      std::clamp<std::ptrdiff_t>(options.part, 1, std::max<std::ptrdiff_t>(1, std::ssize(parts)));
  note_parts(records_of(parts, chosen.frames), int(shown), flight);
  // The mosaic shows what the record calls group 0.
  if (!parts.empty()) std::rotate(parts.begin(), parts.begin() + shown - 1, parts.begin() + shown);
  double next_west_px = 0;
  for (PlacedGroup& placed : parts) {
    const int number = flight.placement.groups++;
    // Control that lies in the first group is no fault of the others.
    std::vector<std::string> unheard;
    placed.datum = set_datum({flight, chosen.frames, control, on_map, positions_crs, options}, placed.group,
                             number == 0 ? flight.warnings : unheard);
    if (number == 0 && placed.group.tilt_is_a_guess) note_guessed_tilt(placed.group.members.size(), flight);
    Canvas own = placed.datum.metric
                     ? choose_canvas(canvas_frames(placed, flight, chosen.frames), options.gsd_m.value_or(0))
                     : one_unit_a_pixel(placed, flight, chosen.frames);
    if (number == 0) write_first_group(placed, own, control, chosen, flight);
    // Where an unconnected part lies against the first is not known: it is set beside the canvas, not into
    // it.
    own.west -= next_west_px * own.gsd;
    next_west_px += 1.1 * own.width_px;
    write_frames(placed, number, own.mosaic_from_ground(), chosen.frames, placed.group.ties, flight);
  }
  for (FrameRecord& f : flight.frames)
    if (f.placement.placed) f.placement.why_not.clear();
  if (flight.placement.groups == 0) place_lone_frame(flight, options);
  if (flight.placement.groups == 0) {
    flight.placement.scale_from = "none";
    flight.placement.north_from = "arbitrary";
    flight.placement.accuracy.sentence = "No frames could be joined.";
  }
}

}  // namespace lookdown::place
