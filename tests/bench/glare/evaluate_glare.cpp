// Scores glare masks, on flights against a renderer's truth and on real tiles against labels by eye:
//   evaluate_glare [--pictures OUT] [--all] [--every N] [--without-sun] [--each] FLIGHT_FOLDER...
//   evaluate_glare --tiles LABELS.csv FOLDER [--water-outlines FOLDER] [--glitter-outlines FOLDER] [--photos
//   A,B,...]
//                  [--pictures OUT] [--each]
// Prints pixel IoU and false alarms of the single-frame search, of the comparison across frames (true poses),
// and of a plain brightness and saturation threshold that was given the truth to tune itself on. --all:
// blurred and oblique frames too; --every N: each N-th frame. For tiles see tile_scores.h. Before scoring,
// see to it that the pictures are none of those that constants were chosen on.
//
// Two definitions of glare, each with its lines. "Outweighs": reflected light is more than all other light of
// the pixel, however dark both are. "In sight": of that, where the reflection alone is at least 0.045 of
// white; pixels that only the first calls glare are left out of the count, neither right nor wrong. Flights
// from before the renderer wrote that mask: glare that is at least 0.09 of white, of which then at least half
// is reflection.
#include <fmt/format.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "flight_truth.h"
#include "mask_scores.h"
#include "pipeline/geometry/sun_and_water.h"
#include "stages/glare/across/view_comparison.h"
#include "stages/glare/frame_masks.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/sun/sun_from_glint.h"
#include "tile_scores.h"

namespace {

using namespace lookdown::glare;
using scoring::Score;
using scoring::Threshold;

struct Loaded {
  cv::Mat bgr, grey, glare, water, crust;
  cv::Mat visible_glare, dark_glare;  // "in sight", and the rest of `glare`
};
Loaded load(const scoring::TruthFrame& frame) {
  Loaded l;
  l.bgr = cv::imread(frame.picture.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  cv::cvtColor(l.bgr, l.grey, cv::COLOR_BGR2GRAY);
  l.glare = cv::imread(frame.glare.string(), cv::IMREAD_GRAYSCALE);
  l.water = cv::imread(frame.water.string(), cv::IMREAD_GRAYSCALE);
  l.crust = cv::imread(frame.crust.string(), cv::IMREAD_GRAYSCALE);
  if (frame.visible_glare.empty())
    l.visible_glare = l.glare & (luminance_of(luma_of(l.bgr)) >= 0.09f);
  else
    l.visible_glare = cv::imread(frame.visible_glare.string(), cv::IMREAD_GRAYSCALE);
  l.dark_glare = l.glare & ~l.visible_glare;
  return l;
}

// The picture, and beside it what was found: glare green rightly, red wrongly, magenta missed, grey missed
// where dark; water outlined in blue, tinted orange where it is none and yellow where it is missed.
void draw(const std::filesystem::path& path, const Loaded& l, const FrameMasks& found) {
  cv::Mat drawn = l.bgr.clone();
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(found.water.clone(), outlines, cv::RETR_LIST, cv::CHAIN_APPROX_NONE);
  cv::drawContours(drawn, outlines, -1, {255, 80, 0}, 2);
  cv::Mat tint(drawn.size(), CV_8UC3);
  tint.setTo(cv::Scalar(0, 140, 255), found.water & ~l.water);
  tint.setTo(cv::Scalar(0, 255, 255), ~found.water & l.water);
  cv::Mat(0.4 * drawn + 0.6 * tint).copyTo(drawn, found.water ^ l.water);
  drawn.setTo(cv::Scalar(0, 200, 0), found.glare & l.glare);
  drawn.setTo(cv::Scalar(0, 0, 255), found.glare & ~l.glare);
  drawn.setTo(cv::Scalar(255, 0, 255), ~found.glare & l.visible_glare);
  drawn.setTo(cv::Scalar(150, 150, 150), ~found.glare & l.dark_glare);
  cv::Mat both;
  cv::hconcat(l.bgr, drawn, both);
  cv::imwrite(path.string(), both);
}

// Both definitions, both searches, and the threshold.
struct Scores {
  std::array<Score, 2> outweighs, in_sight;  // one frame, across frames
  std::array<Threshold, 2> threshold;        // by definition
  void add(const Loaded& l, const FrameMasks& single, const FrameMasks& across) {
    const cv::Mat none = cv::Mat::zeros(l.glare.size(), CV_8UC1);
    const std::array<const FrameMasks*, 2> found{&single, &across};
    for (std::size_t i = 0; i < 2; ++i) {
      outweighs[i].add(found[i]->glare, found[i]->water, l.glare, none, l.water, l.crust);
      in_sight[i].add(found[i]->glare, found[i]->water, l.visible_glare, l.dark_glare, l.water, l.crust);
    }
    threshold[0].add(l.bgr, l.glare, none);
    threshold[1].add(l.bgr, l.visible_glare, l.dark_glare);
  }
  void print() const {
    outweighs[0].print("one frame, outweighs");
    outweighs[1].print("across frames, outweighs");
    threshold[0].print("threshold, outweighs");
    print_in_sight();
    threshold[1].print("threshold, in sight");
  }
  void print_in_sight() const {
    in_sight[0].print("one frame, in sight");
    in_sight[1].print("across frames, in sight");
  }
};

struct Choice {
  bool without_sun = false;  // no estimate of the sun's place from the flight's own glint
  bool all_frames = false;   // blurred and oblique ones too
  bool each = false;         // a line for each frame
  int every = 1;             // scores every n-th frame; views of it are searched all the same
  std::filesystem::path pictures;
};

double processor_seconds() {
  return static_cast<double>(std::clock()) / CLOCKS_PER_SEC;
}

// The flight's frames, searched when first asked for.
class Searched {
 public:
  struct Frame {
    WorkingPicture picture;
    SearchResult result;
    FrameMasks masks;
    SearchedFrame frame;
  };
  explicit Searched(const std::vector<const scoring::TruthFrame*>& frames)
      : frames_(frames), kept_(frames.size()) {}
  Frame& at(std::size_t i) {
    Frame& kept = kept_[i];
    if (kept.frame.bgr.empty()) {
      const cv::Mat bgr =
          cv::imread(frames_[i]->picture.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
      const double started = processor_seconds();
      kept.picture = prepare(bgr);
      kept.result = search_picture(kept.picture);
      kept.masks = frame_masks(kept.result.water, kept.result.glint, luma_of(bgr));
      seconds_ += processor_seconds() - started;
      const double searched = processor_seconds();
      kept.frame = searched_frame(bgr, kept.masks.water, kept.masks.glare);
      compared_seconds_ += processor_seconds() - searched;
      ++count_;
    }
    return kept;
  }
  [[nodiscard]] double ms_a_frame() const { return 1000 * seconds_ / std::max(1, count_); }
  /// Of preparing a frame for the comparison.
  [[nodiscard]] double compared_ms() const { return 1000 * compared_seconds_ / std::max(1, count_); }

 private:
  const std::vector<const scoring::TruthFrame*>& frames_;
  std::vector<Frame> kept_;
  double seconds_ = 0, compared_seconds_ = 0;
  int count_ = 0;
};

void score_flight(const std::filesystem::path& folder, const Choice& choice, Scores& total) {
  const scoring::TruthFlight flight = scoring::read_truth(folder);
  std::vector<const scoring::TruthFrame*> frames;
  std::vector<PlacedCamera> places;
  for (const auto& frame : flight.frames)
    if (choice.all_frames || (frame.nadir && frame.sharp))
      frames.push_back(&frame), places.push_back(frame.place);

  Scores scores;
  Searched searched(frames);
  const auto views = choose_views(places, 8);
  std::vector<GlintSample> samples;
  for (std::size_t i = 0; i < frames.size(); ++i)
    for (const GlintSample& sample : glint_samples(searched.at(i).frame, places[i]))
      samples.push_back(sample);
  std::optional<GlintSun> sun;
  if (!choice.without_sun) sun = sun_from_glint(samples);
  if (sun)
    for (std::size_t i = 0; i < frames.size(); ++i) searched.at(i).frame.field = glitter_of(*sun, places[i]);
  int scored = 0;
  double across_s = 0, detail_s = 0;
  std::vector<KnownPatches> known;
  std::vector<BelowWater> below;
  std::vector<std::vector<double>> log_gains;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const Searched::Frame& own = searched.at(i);
    std::vector<PlacedView> placed;
    for (const int view : views[i]) {
      const auto j = static_cast<std::size_t>(view);
      placed.push_back({&searched.at(j).frame, &places[j]});
    }
    const double started = processor_seconds();
    const Motion motion = compare_detail(own.frame, places[i], placed).motion(own.frame.bgr);
    const SightGrid grid(places[i], own.frame.bgr.size());
    std::vector<OverlaidView> others;
    for (const PlacedView& view : placed) others.push_back(overlay(*view.frame, *view.place, grid));
    const ComparedFrame compared = compare_views(own.frame, others);
    const SurfaceLook look = surface_look(own.picture);
    SeenPatches seen = seen_patches(own.picture, look);
    const UsualLook usual = usual_look(own.picture);
    const cv::Mat water = water_beyond_views(own.picture, look, usual, compared, motion);
    known.push_back(known_patches(std::move(seen), usual, water, compared, motion));
    below.push_back(compared.below);
    log_gains.push_back(compared.log_gains);
    detail_s += processor_seconds() - started;
  }
  const double learning = processor_seconds();
  const std::vector<double> exposures = log_exposures(views, log_gains);
  LookSamples all_samples;
  for (std::size_t i = 0; i < frames.size(); ++i) all_samples.add(known[i].samples, exposures[i]);
  const std::optional<LearnedLook> look = LearnedLook::from(all_samples);
  detail_s += processor_seconds() - learning;
  for (std::size_t i = 0; i < frames.size(); i += static_cast<std::size_t>(choice.every)) {
    const Loaded l = load(*frames[i]);
    Searched::Frame& own = searched.at(i);
    const FrameMasks& masks = own.masks;
    const double started = processor_seconds();
    const GlintPrior prior = sun ? glint_prior(*sun, places[i], own.picture.bgr.size()) : GlintPrior{};
    const cv::Mat water = water_by_look(known[i], look, exposures[i]);
    const Glint glint = glint_beyond_views(own.picture, known[i], water, below[i], prior);
    const FrameMasks refined = frame_masks(water | glint.field, glint, l.grey);
    across_s += processor_seconds() - started;
    Scores own_scores;
    for (Scores* all : {&scores, &total, &own_scores}) all->add(l, masks, refined);
    if (choice.each) fmt::print("  {}\n", frames[i]->picture.stem().string()), own_scores.print_in_sight();
    if (!choice.pictures.empty()) {
      draw(choice.pictures / fmt::format("{}_{}.jpg", flight.name, frames[i]->picture.stem().string()), l,
           masks);
      draw(choice.pictures / fmt::format("{}_{}_across.jpg", flight.name, frames[i]->picture.stem().string()),
           l, refined);
    }
    ++scored;
  }
  fmt::print(
      "{}: {} of {} frames, sun {:.0f} deg, wave mean square slope {:.4f}; processor time {:.0f} ms a frame "
      "alone, "
      "{:.0f} ms across\n",
      flight.name, scored, frames.size(), flight.sun_elevation_deg, flight.mean_square_slope,
      searched.ms_a_frame(),
      searched.compared_ms() + 1000 * (across_s / std::max(1, scored) +
                                       detail_s / std::max<double>(1, static_cast<double>(frames.size()))));
  if (sun) {
    const double away_deg =
        std::acos(std::clamp(
            sun->to_sun.dot(lookdown::sun_direction({flight.sun_elevation_deg, flight.sun_azimuth_deg})),
            -1.0, 1.0)) *
        57.29578;
    fmt::print(
        "  sun from glint: {:.1f} deg away from the truth, mean square slope {:.4f}, peak {:.3f}, elsewhere "
        "{:.4f}, evidence {:.0f}\n",
        away_deg, sun->mean_square_slope, sun->peak_rate, sun->background_rate, sun->evidence);
  } else {
    fmt::print("  sun from glint: not known\n");
  }
  scores.print();
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  cv::setNumThreads(1);
  Choice choice;
  scoring::TileChoice tiles;
  Scores total;
  int flights = 0;
  for (int i = 1; i < argc; ++i) {
    const std::string argument = argv[i];
    if (argument == "--all")
      choice.all_frames = true;
    else if (argument == "--without-sun")
      choice.without_sun = true;
    else if (argument == "--pictures" && i + 1 < argc)
      std::filesystem::create_directories(choice.pictures = argv[++i]);
    else if (argument == "--every" && i + 1 < argc)
      choice.every = std::max(1, std::atoi(argv[++i]));
    else if (argument == "--tiles" && i + 2 < argc)
      tiles.labels = argv[++i], tiles.tiles = argv[++i];
    else if (argument == "--water-outlines" && i + 1 < argc)
      tiles.outlines = argv[++i];
    else if (argument == "--glitter-outlines" && i + 1 < argc)
      tiles.glitter = argv[++i];
    else if (argument == "--each")
      tiles.each = choice.each = true;
    else if (argument == "--photos" && i + 1 < argc)
      tiles.photos = argv[++i];
    else
      score_flight(argument, choice, total), ++flights;
  }
  tiles.pictures = choice.pictures;
  if (!tiles.tiles.empty()) score_tiles(tiles);
  if (flights == 0) return 0;
  fmt::print("all flights together\n");
  total.print();
  return 0;
}
