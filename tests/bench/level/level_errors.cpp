// Prints how far the horizon and the tilt of frames are from what is known about them.
//
//   bench_level [--glance FILE] [--evidence FILE] [--draw FOLDER] [--list FILE] [--every N --from K]
//   FOLDER...
//
//   bench_level --hazy COUNT [--from SEED] [--draw FOLDER]     drawn ridges in three hazes instead
//
// A folder holds truth.json (rendered flights), or labels.csv (file,slope,offset: the horizon is y = slope x
// + offset height in pixels), or just pictures without a horizon. --evidence writes, instead, the terms of
// the decision of every line tried: file, has a horizon, roll error, distance, log-odds, terms. --every and
// --from take each N-th frame from the K-th. --list writes one row a frame:
// file,kind,has_horizon,found,roll_error_deg, roll_sigma_deg,pitch_error_deg (found -
// true),tilt_error_deg,tilt_sigma_deg (empty = not known). --glance writes, instead, what a glance at the
// frame reduced to a tenth of a megapixel or two says: file,kind,has_horizon,log-odds,milliseconds of
// processor time.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <map>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "pipeline/base/angles.h"
#include "stages/level/copies/display_turn.h"
#include "stages/level/level.h"
#include "stages/level/search/horizon_choice.h"
#include "stages/level/search/horizon_line.h"
#include "tests/bench/level/known_frames.h"
#include "tests/unit/level/hazy_ridges.h"

namespace fs = std::filesystem;
using lookdown::Camera;
using lookdown::kDegree;
using lookdown::level::KnownFrame;

namespace {

struct Tally {
  int frames = 0, found = 0, false_horizons = 0, without = 0, tilt_claims = 0;
  std::vector<double> roll, pitch, pitch_signed, tilt, roll_in_sigmas, pitch_in_sigmas, tilt_in_sigmas;
};

double share_of(const std::vector<double>& sorted, double share) {
  if (sorted.empty()) return std::nan("");
  return sorted[std::min(sorted.size() - 1,
                         static_cast<std::size_t>(share * static_cast<double>(sorted.size())))];
}

void print_errors(const std::string& what, std::vector<double> errors, const char* unit) {
  std::sort(errors.begin(), errors.end());
  if (errors.empty()) return;
  fmt::print("  {:<22} n {:4}  median {:7.3f}  p95 {:7.3f}  worst {:8.3f} {}\n", what, errors.size(),
             share_of(errors, 0.5), share_of(errors, 0.95), errors.back(), unit);
}

/// The found line in red over a copy 480 pixels wide.
void draw(const fs::path& folder, const KnownFrame& known, const cv::Mat& bgr, const Camera& camera,
          const std::optional<lookdown::Horizon>& horizon) {
  cv::Mat copy;
  const double shrink = 480.0 / bgr.cols;
  cv::resize(bgr, copy, {}, shrink, shrink, cv::INTER_AREA);
  if (horizon) {
    const auto& l = horizon->line;
    const double to_frame = static_cast<double>(camera.width_px) / copy.cols;
    const double reach = std::hypot(camera.width_px, camera.height_px);
    const double foot_x = camera.cx_px - l[0] * (l[0] * camera.cx_px + l[1] * camera.cy_px + l[2]);
    const double foot_y = camera.cy_px - l[1] * (l[0] * camera.cx_px + l[1] * camera.cy_px + l[2]);
    std::vector<cv::Point> points;
    for (double t = -reach; t <= reach; t += reach / 100) {
      const double x = foot_x - l[1] * t, y = foot_y + l[0] * t;
      if (std::hypot(x - camera.cx_px, y - camera.cy_px) > camera.monotonic_radius_px()) continue;
      const auto seen = camera.distort({x, y});
      points.emplace_back(cvRound(seen.x / to_frame), cvRound(seen.y / to_frame));
    }
    cv::polylines(copy, points, false, {0, 0, 255}, 1, cv::LINE_AA);
  }
  cv::imwrite((folder / (known.path.stem().string() + ".png")).string(), copy);
}

double angle_apart(double a, double b) {
  return std::abs(std::remainder(a - b, 360.0));
}

void measure(const KnownFrame& known, Tally& tally, const fs::path& drawings, bool talk,
             std::ofstream* list) {
  const lookdown::FrameReader reader;
  const auto found = lookdown::level::source_of(known, reader);
  if (!found) {
    fmt::print("  {}: cannot be read\n", known.path.string());
    return;
  }
  const lookdown::FrameSource& source = *found;
  lookdown::FrameInfo info;
  info.camera = known.camera.value_or(lookdown::assumed_camera(source.width_px, source.height_px));
  lookdown::FramePixels pixels(reader, source);
  const auto finding = lookdown::level::find(pixels, info, {});
  ++tally.frames;
  const auto& horizon = finding.horizon;
  if (known.has_horizon) {
    if (horizon) {
      ++tally.found;
      tally.roll.push_back(angle_apart(horizon->roll_deg, known.roll_deg));
      tally.roll_in_sigmas.push_back(tally.roll.back() / std::max(1e-6, horizon->roll_sigma_deg));
      if (known.pitch_deg) {
        tally.pitch_signed.push_back(horizon->pitch_deg - *known.pitch_deg);
        tally.pitch.push_back(std::abs(tally.pitch_signed.back()));
        tally.pitch_in_sigmas.push_back(tally.pitch.back() / std::max(1e-6, horizon->pitch_sigma_deg));
      }
      if (talk && tally.roll.back() > 1)
        fmt::print("  {}: roll {:.2f} should be {:.2f}\n", source.file, horizon->roll_deg, known.roll_deg);
    } else if (talk) {
      fmt::print("  {}: missed\n", source.file);
    }
  } else {
    ++tally.without;
    if (horizon) {
      ++tally.false_horizons;
      if (talk)
        fmt::print("  {}: false horizon, roll {:.1f} pitch {:.1f}\n", source.file, horizon->roll_deg,
                   horizon->pitch_deg);
    }
  }
  for (const auto& tilt : finding.tilts)
    if (tilt.from != "horizon" && known.off_nadir_deg) {
      ++tally.tilt_claims;
      tally.tilt.push_back(std::abs(tilt.off_nadir_deg - *known.off_nadir_deg));
      tally.tilt_in_sigmas.push_back(tally.tilt.back() / std::max(1e-6, tilt.sigma_deg));
      if (talk && tally.tilt.back() > 3)
        fmt::print("  {}: {} says {:.1f} +- {:.1f}, is {:.1f}\n", source.file, tilt.from, tilt.off_nadir_deg,
                   tilt.sigma_deg, *known.off_nadir_deg);
    }
  if (list) {
    const auto cell = [](bool known_here, double value) {
      return known_here ? fmt::format("{:.4f}", value) : std::string();
    };
    const bool both = known.has_horizon && horizon;
    const auto cue = std::find_if(finding.tilts.begin(), finding.tilts.end(),
                                  [](const auto& t) { return t.from != "horizon"; });
    const bool claims = cue != finding.tilts.end() && known.off_nadir_deg;
    *list << fmt::format("{},{},{},{},{},{},{},{},{}\n", known.path.string(), known.kind, known.has_horizon,
                         horizon.has_value(),
                         cell(both, both ? angle_apart(horizon->roll_deg, known.roll_deg) : 0),
                         cell(both, both ? horizon->roll_sigma_deg : 0),
                         cell(both && known.pitch_deg,
                              both && known.pitch_deg ? horizon->pitch_deg - *known.pitch_deg : 0),
                         cell(claims, claims ? std::abs(cue->off_nadir_deg - *known.off_nadir_deg) : 0),
                         cell(claims, claims ? cue->sigma_deg : 0))
          << std::flush;
  }
  if (!drawings.empty()) draw(drawings, known, pixels.bgr(pixels.reduction_for(1700)), info.camera, horizon);
}

/// Terms of the decision of every line tried in a frame, one row a line.
void write_evidence(const KnownFrame& known, std::ofstream& evidence) {
  const auto seen = lookdown::level::seen_frame(known);
  if (!seen) return;
  for (const auto& guess : lookdown::level::horizon_guesses(seen->bgr, seen->camera, known.orientation)) {
    const auto& l = guess.refined.line;
    const auto turn = lookdown::level::display_from_stored(known.orientation);
    const Eigen::Vector2d shown = turn * l.head<2>();
    const double roll = std::atan2(shown.x(), -shown.y()) / kDegree;
    evidence << known.path.string() << ',' << known.has_horizon << ','
             << std::remainder(roll - known.roll_deg, 360.0) << ','
             << lookdown::level::distance_from_known(seen->known, l, 1) << ',' << guess.log_odds;
    for (double term : guess.evidence) evidence << ',' << term;
    evidence << '\n';
  }
}

/// What a glance at the reduced frame says, one row a frame.
void write_coarse(const KnownFrame& known, std::ofstream& table) {
  const lookdown::FrameReader reader;
  const auto found = lookdown::level::source_of(known, reader);
  if (!found) return;
  const lookdown::FrameSource& source = *found;
  const Camera camera = known.camera.value_or(lookdown::assumed_camera(source.width_px, source.height_px));
  lookdown::FramePixels pixels(reader, source);
  cv::Mat small = pixels.bgr(pixels.reduction_for(400));
  const double share = static_cast<double>(small.cols) / source.width_px;
  const std::clock_t start = std::clock();
  const double log_odds =
      lookdown::level::coarse_horizon_log_odds(small, camera.scaled(share), source.orientation);
  table << fmt::format("{},{},{},{:.3f},{:.2f}\n", known.path.string(), known.kind, known.has_horizon,
                       log_odds, 1e3 * static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
}

/// Drawn frames of two ridges in three hazes: how many horizons lie within one degree of the true roll.
void score_hazy(int count, int seed, const fs::path& drawings) {
  constexpr std::array kVisibilities_m{8000.0, 15000.0, 40000.0};
  Camera camera = lookdown::assumed_camera(960, 640);
  camera.fx_px = camera.fy_px = 700;  // 69 degrees across
  std::array<std::vector<double>, kVisibilities_m.size()> errors;
  std::array<int, kVisibilities_m.size()> frames{};
  for (int i = 0; i < count; ++i) {
    std::mt19937 random(static_cast<unsigned>(seed * 100000 + i));
    const auto uniform = [&](double low, double high) {
      return std::uniform_real_distribution<double>(low, high)(random);
    };
    const lookdown::level::Attitude attitude{uniform(-35, 35) * kDegree, uniform(-14, 8) * kDegree};
    const std::size_t haze = static_cast<std::size_t>(i) % kVisibilities_m.size();
    const cv::Mat3b bgr = lookdown::level::hazy_ridges(camera, attitude, kVisibilities_m[haze], random());
    const auto guesses = lookdown::level::horizon_guesses(bgr, camera, 1);
    ++frames[haze];
    double error = 90;
    if (!guesses.empty() && guesses.front().log_odds > 0) {
      const Eigen::Vector3d line = lookdown::level::choose_horizon(guesses, bgr, camera).refined.line;
      error = angle_apart(std::atan2(line.x(), -line.y()) / kDegree, attitude.roll_rad / kDegree);
    }
    errors[haze].push_back(error);
    if (!drawings.empty() && error > 1) {
      cv::Mat copy = bgr.clone();
      for (const auto& g : guesses)
        if (g.log_odds > 0) {
          const auto& l = g.refined.line;
          const auto at = [&](int x) { return cv::Point(x, cvRound(-(l.x() * x + l.z()) / l.y())); };
          cv::line(copy, at(0), at(copy.cols), {0, 0, 255});
          cv::putText(copy,
                      fmt::format("{:.1f} {:.2f} {:.2f}", g.log_odds, g.refined.support.inlier_share,
                                  g.refined.support.profile.own_step),
                      at(10), 0, 0.4, {0, 255, 255});
        }
      cv::imwrite((drawings / fmt::format("hazy_{:03}_{:.1f}.png", i, error)).string(), copy);
    }
  }
  for (std::size_t k = 0; k < kVisibilities_m.size(); ++k) {
    const auto within = std::count_if(errors[k].begin(), errors[k].end(), [](double e) { return e <= 1; });
    fmt::print("visibility {:2.0f} km: {} frames, within 1 degree {:.3f}\n", kVisibilities_m[k] / 1000,
               frames[k], static_cast<double>(within) / std::max(1, frames[k]));
    print_errors("roll error", errors[k], "deg");
  }
}

}  // namespace

int main(int count, char** words) {
  std::vector<fs::path> folders;
  std::ofstream evidence, list, glance;
  fs::path drawings;
  int every = 1, from = 0, hazy = 0;
  for (int i = 1; i < count; ++i) {
    const std::string word = words[i];
    if (word == "--evidence" && i + 1 < count)
      evidence.open(words[++i]);
    else if (word == "--glance" && i + 1 < count)
      glance.open(words[++i]);
    else if (word == "--list" && i + 1 < count)
      list.open(words[++i]);
    else if (word == "--draw" && i + 1 < count)
      drawings = words[++i];
    else if (word == "--every" && i + 1 < count)
      every = std::stoi(words[++i]);
    else if (word == "--hazy" && i + 1 < count)
      hazy = std::stoi(words[++i]);
    else if (word == "--from" && i + 1 < count)
      from = std::stoi(words[++i]);
    else
      folders.emplace_back(word);
  }
  if (hazy > 0) {
    score_hazy(hazy, from, drawings);
    return 0;
  }
  if (folders.empty()) {
    std::cerr << "usage: bench_level [--glance FILE] [--evidence FILE] [--draw FOLDER] [--list FILE] "
                 "[--every N --from K] "
                 "FOLDER...\n";
    return 2;
  }
  for (const auto& folder : folders) {
    const std::vector<KnownFrame> known = lookdown::level::known_frames(folder);
    std::map<std::string, Tally> tallies;
    fmt::print("{}\n", folder.string());
    for (std::size_t i = static_cast<std::size_t>(from); i < known.size();
         i += static_cast<std::size_t>(every))
      if (glance.is_open())
        write_coarse(known[i], glance);
      else if (evidence.is_open())
        write_evidence(known[i], evidence);
      else
        measure(known[i], tallies[known[i].kind], drawings, true, list.is_open() ? &list : nullptr);
    for (const auto& [kind, t] : tallies) {
      fmt::print(" {}: {} frames, horizon found in {} of {}, false in {} of {}\n", kind, t.frames, t.found,
                 t.frames - t.without, t.false_horizons, t.without);
      print_errors("roll error", t.roll, "deg");
      print_errors("roll error / sigma", t.roll_in_sigmas, "");
      print_errors("pitch error", t.pitch, "deg");
      print_errors("pitch error / sigma", t.pitch_in_sigmas, "");
      print_errors("pitch, found - true", t.pitch_signed, "deg");
      print_errors("tilt cue error", t.tilt, "deg");
      print_errors("tilt cue error / sigma", t.tilt_in_sigmas, "");
    }
  }
  return 0;
}
