
#include <fmt/core.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <map>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/base/robust_statistics.h"
#include "stages/place/datum/control_points.h"
#include "stages/place/place.h"

namespace lookdown::place {
namespace {

constexpr int kPatchReach = 14;   ///< half side of the compared patch, ground pixels
constexpr int kSearchReach = 16;  ///< how far a refined mark may lie from the prediction, ground pixels
constexpr double kLeastLikeness = 0.75;
constexpr double kFarthestFromOthers = 2.5;  ///< ground pixels between a refined mark and the middle of all
constexpr int kCropSide = 96;

/// A control point in the world of the placement (plane z = 0).
struct Located {
  const ControlPoint* point;
  Eigen::Vector3d world;
};

bool placed(const FlightRecord& flight, int record) {
  return flight.frames[std::size_t(record)].placement.placed;
}

std::optional<Eigen::Vector3d> world_from_marks(const FlightRecord& flight, const ControlPoint& point) {
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  int count = 0;
  for (const Mark& m : point.marks) {
    const FramePlacement& p = flight.frames[std::size_t(m.record)].placement;
    if (!p.placed || p.group != 0) continue;
    const auto ground = ground_from_frame(p.pose, p.camera) * p.camera.undistort(m.at);
    sum += Eigen::Vector3d(ground.x, ground.y, 0);
    ++count;
  }
  if (count == 0) return std::nullopt;
  return Eigen::Vector3d(sum / count);
}

std::vector<Located> locate(const FlightRecord& flight, const std::vector<ControlPoint>& control) {
  const double ground = ground_height_of(control);
  std::vector<Located> located;
  for (const ControlPoint& p : control) {
    if (flight.placement.scale_from == "control" && p.has_position) {
      located.push_back({&p, {p.given.x(), p.given.y(), p.given.z() - ground}});
    } else if (const auto world = world_from_marks(flight, p)) {
      located.push_back({&p, *world});
    }
  }
  return located;
}

/// Frame pixel of a world point; empty when it is behind, outside, or where the lens model must not be
/// trusted.
std::optional<Point2<StoredPx>> seen_at(const FramePlacement& p, const FrameSource& source,
                                        const Eigen::Vector3d& world) {
  double depth = 0;
  const auto flat = project(p.pose, p.camera, world, &depth);
  if (depth <= 0 ||
      std::hypot(flat.x - p.camera.cx_px, flat.y - p.camera.cy_px) > p.camera.monotonic_radius_px())
    return std::nullopt;
  const auto raw = p.camera.distort(flat);
  constexpr double border = 4;
  if (raw.x < border || raw.y < border || raw.x > source.width_px - 1 - border ||
      raw.y > source.height_px - 1 - border)
    return std::nullopt;
  return raw;
}

/// The ground around `world` as the frame shows it, one picture pixel `gsd` world units, x east, y south.
cv::Mat ground_patch(const cv::Mat& grey, const FramePlacement& p, const Eigen::Vector3d& world, double gsd,
                     int reach) {
  const int side = 2 * reach + 1;
  cv::Mat x(side, side, CV_32F), y(side, side, CV_32F);
  for (int r = 0; r < side; ++r)
    for (int c = 0; c < side; ++c) {
      const Eigen::Vector3d spot = world + Eigen::Vector3d((c - reach) * gsd, (reach - r) * gsd, 0);
      const auto raw = p.camera.distort(project(p.pose, p.camera, spot));
      x.at<float>(r, c) = float(raw.x);
      y.at<float>(r, c) = float(raw.y);
    }
  cv::Mat patch;
  cv::remap(grey, patch, x, y, cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  return patch;
}

/// Peak of a parabola through three equidistant values, in steps from the middle one.
double peak_of(double before, double middle, double after) {
  const double bend = before - 2 * middle + after;
  return bend < -1e-9 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0;
}

struct Refined {
  Eigen::Vector3d world;
  double likeness = 0;
};

Refined refine_on_picture(const cv::Mat& pattern, const cv::Mat& grey, const FramePlacement& p,
                          const Eigen::Vector3d& world, double gsd) {
  const cv::Mat area = ground_patch(grey, p, world, gsd, kPatchReach + kSearchReach);
  cv::Mat likeness;
  cv::matchTemplate(area, pattern, likeness, cv::TM_CCOEFF_NORMED);
  cv::Point best;
  double value = 0;
  cv::minMaxLoc(likeness, nullptr, &value, nullptr, &best);
  double dx = best.x - kSearchReach, dy = best.y - kSearchReach;
  const bool at_edge =
      best.x == 0 || best.y == 0 || best.x == likeness.cols - 1 || best.y == likeness.rows - 1;
  if (at_edge || !std::isfinite(value)) return {world, 0};
  const auto at = [&](int ox, int oy) { return double(likeness.at<float>(best.y + oy, best.x + ox)); };
  dx += peak_of(at(-1, 0), at(0, 0), at(1, 0));
  dy += peak_of(at(0, -1), at(0, 0), at(0, 1));
  return {world + Eigen::Vector3d(dx * gsd, -dy * gsd, 0), value};
}

std::string plain_name(const std::string& text) {
  std::string plain;
  for (char c : text) plain += std::isalnum(static_cast<unsigned char>(c)) ? c : '_';
  return plain;
}

/// A crop of the frame with a cross whose middle is left open, so that the spot itself can be seen.
void write_crop(const FrameReader& reader, const FrameSource& source, const ProposedMark& mark,
                const std::filesystem::path& out) {
  const auto picture = reader.bgr(source.path);
  if (!picture) return;
  cv::Mat crop;
  cv::getRectSubPix(*picture, cv::Size(kCropSide, kCropSide), cv::Point2f(float(mark.at.x), float(mark.at.y)),
                    crop);
  const int middle = kCropSide / 2;
  const cv::Scalar colour(0, 230, 255);
  for (int sign : {-1, 1}) {
    cv::line(crop, {middle + sign * 8, middle}, {middle + sign * 40, middle}, colour, 1);
    cv::line(crop, {middle, middle + sign * 8}, {middle, middle + sign * 40}, colour, 1);
  }
  write_file(out / mark.crop_file,
             [&](const std::filesystem::path& path) { return cv::imwrite(path.string(), crop); });
}

/// The pattern to look for: the ground around the mark that a person set in the frame that resolves it best.
struct Pattern {
  cv::Mat patch;
  double gsd = 0;
};
std::optional<Pattern> pattern_of(const FlightRecord& flight, const Located& located,
                                  const FrameReader& reader) {
  const Mark* best = nullptr;
  double finest = 0;
  for (const Mark& m : located.point->marks) {
    if (!placed(flight, m.record)) continue;
    const FramePlacement& p = flight.frames[std::size_t(m.record)].placement;
    const double gsd = ground_sample_distance(p.pose, p.camera).along;
    if (best != nullptr && gsd >= finest) continue;
    best = &m;
    finest = gsd;
  }
  if (best == nullptr) return std::nullopt;
  const FrameRecord& frame = flight.frames[std::size_t(best->record)];
  const auto grey = reader.grey(frame.source.path);
  if (!grey) return std::nullopt;
  const auto ground = ground_from_frame(frame.placement.pose, frame.placement.camera, located.world.z()) *
                      frame.placement.camera.undistort(best->at);
  return Pattern{
      ground_patch(*grey, frame.placement, {ground.x, ground.y, located.world.z()}, finest, kPatchReach),
      finest};
}

/// A proposal with what it rests on, until all frames of its point have been seen.
struct Proposal {
  ProposedMark mark;
  const FrameRecord* frame = nullptr;
  Point2<StoredPx> predicted;
  Eigen::Vector2d ground = Eigen::Vector2d::Zero();  ///< where the mark lies on the plane of its point
};

Eigen::Vector2d on_ground(const FrameRecord& frame, const Point2<StoredPx>& at, double height) {
  const FramePlacement& p = frame.placement;
  const auto ground = ground_from_frame(p.pose, p.camera, height) * p.camera.undistort(at);
  return {ground.x, ground.y};
}

Proposal propose(const FrameRecord& frame, const Located& located, const Point2<StoredPx>& predicted,
                 const std::optional<Pattern>& pattern, const FrameReader& reader) {
  Proposal proposal{
      {frame.source.file, located.point->name, predicted, "placement", 0, {}}, &frame, predicted};
  const auto grey = pattern ? reader.grey(frame.source.path) : Result<cv::Mat>(Fault{});
  if (pattern && grey) {
    const Refined refined =
        refine_on_picture(pattern->patch, *grey, frame.placement, located.world, pattern->gsd);
    proposal.mark.likeness = refined.likeness;
    const auto at = seen_at(frame.placement, frame.source, refined.world);
    if (at && refined.likeness >= kLeastLikeness) {
      proposal.mark.at = *at;
      proposal.mark.from = "picture";
    }
  }
  proposal.ground = on_ground(frame, proposal.mark.at, located.world.z());
  return proposal;
}

/// One thing on the ground lies in one place: where a frame's picture says otherwise (a blurred look, a
/// second board nearby), the prediction stands.
void settle_on_one_place(std::vector<Proposal>& proposals) {
  std::vector<double> x, y;
  for (const Proposal& p : proposals)
    if (p.mark.from != "placement") {
      x.push_back(p.ground.x());
      y.push_back(p.ground.y());
    }
  if (x.empty()) return;
  const Eigen::Vector2d middle(median(x), median(y));
  for (Proposal& p : proposals) {
    if (p.mark.from != "picture") continue;
    const double gsd = ground_sample_distance(p.frame->placement.pose, p.frame->placement.camera).along;
    if ((p.ground - middle).norm() <= kFarthestFromOthers * gsd) continue;
    p.mark.at = p.predicted;
    p.mark.from = "placement";
    p.mark.likeness = 0;
  }
}

std::vector<Proposal> proposals_of(const FlightRecord& flight, const Located& located,
                                   const FrameReader& reader) {
  const auto pattern = pattern_of(flight, located, reader);
  std::vector<Proposal> proposals;
  for (std::size_t i = 0; i < flight.frames.size(); ++i) {
    stop_if_requested();
    const FrameRecord& frame = flight.frames[i];
    if (!frame.placement.placed || frame.placement.group != 0) continue;
    const auto& marks = located.point->marks;
    const auto given =
        std::find_if(marks.begin(), marks.end(), [&](const Mark& m) { return m.record == int(i); });
    if (given != marks.end()) {
      proposals.push_back({{frame.source.file, located.point->name, given->at, "person", 1, {}},
                           &frame,
                           given->at,
                           on_ground(frame, given->at, located.world.z())});
    } else if (const auto predicted = seen_at(frame.placement, frame.source, located.world)) {
      proposals.push_back(propose(frame, located, *predicted, pattern, reader));
    }
  }
  settle_on_one_place(proposals);
  return proposals;
}

}  // namespace

std::vector<ProposedMark> propose_marks(FlightRecord& flight, const Options& options, RunContext& context) {
  const std::vector<ControlPoint> control =
      read_control(options.control_file, options.marks_file, {}, flight, flight.warnings);
  std::vector<ProposedMark> marks;
  for (const Located& located : locate(flight, control))
    for (Proposal& p : proposals_of(flight, located, context.reader)) {
      p.mark.crop_file =
          fmt::format("control/{}_{}.png", plain_name(located.point->name), plain_name(p.mark.file));
      write_crop(context.reader, p.frame->source, p.mark, context.out);
      marks.push_back(std::move(p.mark));
    }
  return marks;
}

void write_proposed_marks(const std::vector<ProposedMark>& marks, RunContext& context) {
  std::string table = "file,name,x_px,y_px,from,likeness\n";
  for (const ProposedMark& m : marks)
    table += fmt::format("\"{}\",\"{}\",{:.2f},{:.2f},{},{:.3f}\n", m.file, m.name, m.at.x, m.at.y, m.from,
                         m.likeness);
  write_file(context.out / "marks.csv", table);
}

}  // namespace lookdown::place
