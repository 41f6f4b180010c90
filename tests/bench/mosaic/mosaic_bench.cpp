// mosaic_bench FLIGHT OUT [--placed-by RUN] [--threads n] [--memory-mb n] [--gsd m] [--shake-m s]
// [--shake-deg s] [--order o] [--compression c] [--no-glare] [--obliques] [--no-colour] [--no-overlay]
// [--no-measures] [--floor] [--by-grid]
// Makes a mosaic from a rendered flight, times it and measures it against the truth. Frames are chosen and
// placed by the flight's truth, or with --placed-by as the finished run in the folder RUN decided: such a
// mosaic is laid onto the truth by the similarity that fits best, or with --by-grid by its own scale, north
// and position. mosaic_bench FLIGHT RUN --score [--by-grid] makes nothing but measures the mosaic of a
// finished run.
#include <fmt/format.h>
#include <sys/resource.h>

#include <chrono>
#include <ctime>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "pipeline/record/record_json.h"

#include "pipeline/record/run_context.h"
#include "stages/mosaic/mosaic.h"
#include "tests/bench/mosaic/against_truth.h"
#include "tests/bench/mosaic/floor_time.h"
#include "tests/bench/mosaic/truth_flight.h"

namespace {

/// The record of a finished run, its glare masks found from anywhere.
lookdown::FlightRecord flight_from_run(const std::filesystem::path& run) {
  lookdown::FlightRecord flight =
      lookdown::flight_record_from_json(nlohmann::json::parse(std::ifstream(run / "flight.json")));
  for (lookdown::FrameRecord& frame : flight.frames)
    if (frame.glare && !frame.glare->mask_file.empty())
      frame.glare->mask_file = std::filesystem::absolute(run / frame.glare->mask_file).string();
  return flight;
}

void print(const lookdown::bench::Measures& found) {
  if (found.geometry)
    fmt::print("geometry  rmse {:.2f} px, median {:.2f} px over {} patches\n", found.geometry->rmse_px,
               found.geometry->median_px, found.geometry->patches);
  for (const auto& [colour, block_px] :
       {std::pair(found.colour, lookdown::bench::kColourBlock_px),
        std::pair(found.broad_colour, lookdown::bench::kBroadColourBlock_px)})
    if (colour)
      fmt::print(
          "colour    blocks of {} px: median CIEDE2000 {:.2f}, 95 % {:.2f}; after one factor of light "
          "{:.2f}, one a channel {:.2f}, as it is {:.2f}\n",
          block_px, colour->median_ciede2000, colour->p95_ciede2000, colour->by_exposure, colour->by_balance,
          colour->as_it_is);
  if (found.seams)
    fmt::print("seams     gradient across/off {:.3f}, over the truth's own {:.3f}, share of pairs {:.5f}\n",
               found.seams->gradient_ratio, found.seams->excess_ratio, found.seams->seam_share);
  if (found.detail)
    fmt::print("detail    MTF50 mosaic {:.4f}, best frame {:.4f} c/px, ratio {:.3f}\n",
               found.detail->mtf50_mosaic, found.detail->mtf50_best_frame,
               found.detail->mtf50_mosaic / found.detail->mtf50_best_frame);
  for (const auto& [name, left] :
       {std::pair{"outweighs", found.glare}, std::pair{"in sight", found.glare_in_sight}})
    if (left)
      fmt::print("glare     {}: {:.0f} px left, {:.3f} of feathered, {:.0f} px where a frame is clean\n",
                 name, left->glare_px, left->of_feathered, left->avoidable_px);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) {
    fmt::print("usage: mosaic_bench FLIGHT OUT [options]\n");
    return 2;
  }
  lookdown::Resources resources;
  lookdown::bench::Shake shake;
  lookdown::mosaic::Options options;
  double gsd_m = 0;
  std::filesystem::path placed_by;
  bool glare = true, obliques = false, measure = true, floor = false, by_grid = false, score = false;
  for (int i = 3; i < argc; ++i) {
    const std::string word = argv[i];
    const auto number = [&] { return std::stod(argv[++i]); };
    if (word == "--threads")
      resources.threads = static_cast<int>(number());
    else if (word == "--memory-mb")
      resources.memory_bytes = static_cast<std::int64_t>(number() * 1e6);
    else if (word == "--gsd")
      gsd_m = number();
    else if (word == "--shake-m")
      shake.centre_m = number();
    else if (word == "--shake-deg")
      shake.rotation_deg = number();
    else if (word == "--order")
      options.order = argv[++i];
    else if (word == "--compression")
      options.compression = argv[++i];
    else if (word == "--bits")
      options.bits = argv[++i];
    else if (word == "--placed-by")
      placed_by = argv[++i];
    else if (word == "--no-glare")
      glare = false;
    else if (word == "--obliques")
      obliques = true;
    else if (word == "--no-colour")
      options.colour_balance = false;
    else if (word == "--no-measures")
      measure = false;
    else if (word == "--floor")
      floor = true;
    else if (word == "--score")
      score = true;
    else if (word == "--by-grid")
      by_grid = true;
    else if (word == "--no-overlay")
      options.ground_overlay = false;
    else
      return 2;
  }
  if (score) {
    print(lookdown::bench::measure_against_truth(
        flight_from_run(argv[2]), argv[1], argv[2],
        by_grid ? lookdown::bench::Tie::by_grid : lookdown::bench::Tie::fitted));
    const auto tones = lookdown::bench::measure_tones(std::filesystem::path(argv[2]) / "mosaic.tif");
    fmt::print("tones     {} levels without a pixel, {} after lifting by three stops\n", tones.gaps,
               tones.gaps_when_lifted);
    return 0;
  }
  const auto now = [] { return std::chrono::steady_clock::now(); };
  const auto seconds = [](auto from, auto to) { return std::chrono::duration<double>(to - from).count(); };
  lookdown::FlightRecord flight =
      placed_by.empty() ? lookdown::bench::flight_from_truth(argv[1], gsd_m, shake, glare, obliques)
                        : flight_from_run(placed_by);
  if (!placed_by.empty() && gsd_m > 0) options.gsd_m = gsd_m;
  const lookdown::FrameReader reader;
  const lookdown::Scheduler scheduler(resources);
  const lookdown::Cache cache{""};
  lookdown::Progress progress(false);
  lookdown::RunContext context{argv[2], reader, scheduler, cache, progress};
  std::filesystem::create_directories(context.out);
  const auto started = now();
  const std::clock_t processor_before = std::clock();
  lookdown::mosaic::build(flight, options, context);
  const auto ended = now();
  const double processor_s = static_cast<double>(std::clock() - processor_before) / CLOCKS_PER_SEC;
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  for (const auto& warning : flight.warnings) fmt::print("warning: {}\n", warning);
  if (!flight.mosaic) return 1;
  fmt::print("mosaic {} x {} px, covered {:.3f}, {} frames, {:.2f} s ({:.2f} processor s), peak {:.0f} MB\n",
             flight.mosaic->width_px, flight.mosaic->height_px, flight.mosaic->covered_share,
             flight.mosaic->frames_used, seconds(started, ended), processor_s, usage.ru_maxrss / 1024.0);
  if (floor) {
    const auto least = lookdown::bench::floor_time(flight, context);
    fmt::print(
        "floor     decode {:.2f} s, warp {:.2f} s, encode {:.2f} s: {:.2f} processor s; mosaic takes {:.2f} "
        "times that\n",
        least.decode_s, least.warp_s, least.encode_s, least.total_s(), processor_s / least.total_s());
  }
  if (!measure) return 0;
  print(lookdown::bench::measure_against_truth(
      flight, argv[1], argv[2],
      placed_by.empty() || by_grid ? lookdown::bench::Tie::by_grid : lookdown::bench::Tie::fitted));
  return 0;
}
