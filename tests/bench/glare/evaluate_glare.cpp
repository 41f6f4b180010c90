// Scores glare masks against a renderer's truth: evaluate_glare [--pictures OUT] [--all] [--every N]
// [--without-sun] FLIGHT_FOLDER... Prints pixel IoU, F1 and false alarms of the single-frame search, of the
// comparison across frames (true poses), and of a plain brightness and saturation threshold that was given
// the truth to tune itself on. --all: blurred and oblique frames too; --every N: each N-th frame. Before
// scoring, see to it that the flights are none of those the tables were trained on.
//
// Two definitions of glare, each with its lines. "Outweighs": reflected light is more than all other light of
// the pixel, however dark both are. "In sight": of that, where the reflection alone is at least 0.045 of
// white; pixels that only the first calls glare are left out of the count, neither right nor wrong. Flights
// from before the renderer wrote that mask: glare that is at least 0.09 of white, of which then at least half
// is reflection.
#include <fmt/format.h>

#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "flight_truth.h"
#include "pipeline/geometry/sun_and_water.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/sun_from_glint.h"
#include "stages/glare/view_comparison.h"

namespace {

using namespace lookdown::glare;

struct Score {
  double hit = 0, false_alarm = 0, missed = 0, dry_alarm = 0, dry = 0, crust_alarm = 0, crust = 0,
         water_hit = 0, water_any = 0;
  void add(const cv::Mat& found_glare, const cv::Mat& water, const cv::Mat& true_glare,
           const cv::Mat& left_out, const cv::Mat& true_water, const cv::Mat& true_crust) {
    const auto count = [](const cv::Mat& m) { return static_cast<double>(cv::countNonZero(m)); };
    const cv::Mat glare = found_glare & ~left_out;
    hit += count(glare & true_glare);
    false_alarm += count(glare & ~true_glare);
    missed += count(~glare & true_glare);
    const cv::Mat land = ~true_water;
    dry_alarm += count(glare & land);
    dry += count(land);
    crust_alarm += count(glare & true_crust);
    crust += count(true_crust);
    water_hit += count(water & true_water);
    water_any += count(water | true_water);
  }
  void print(const char* name) const {
    fmt::print(
        "  {:<26} IoU {:.3f}  F1 {:.3f}  precision {:.3f}  recall {:.3f}  on dry land {:.3f} %  on crust "
        "{:.3f} %  water IoU {:.3f}\n",
        name, hit / std::max(1.0, hit + false_alarm + missed),
        2 * hit / std::max(1.0, 2 * hit + false_alarm + missed), hit / std::max(1.0, hit + false_alarm),
        hit / std::max(1.0, hit + missed), 100 * dry_alarm / std::max(1.0, dry),
        100 * crust_alarm / std::max(1.0, crust), water_hit / std::max(1.0, water_any));
  }
};

// "Glare is bright and pale", with the two limits that score best on the truth itself.
class Threshold {
 public:
  void add(const cv::Mat& bgr, const cv::Mat& true_glare, const cv::Mat& left_out) {
    for (int y = 0; y < bgr.rows; y += 2)
      for (int x = 0; x < bgr.cols; x += 2) {
        if (left_out.at<uchar>(y, x)) continue;
        const cv::Vec3b& v = bgr.at<cv::Vec3b>(y, x);
        const int most = std::max({v[0], v[1], v[2]}), least = std::min({v[0], v[1], v[2]});
        const int saturation = most ? 63 * (most - least) / most : 0;
        (true_glare.at<uchar>(y, x) ? yes_ : no_)[most / 4][saturation] += 1;
      }
  }
  void print(const char* name) const {
    double best = 0, best_f1 = 0;
    int best_value = 0, best_saturation = 0;
    double all = 0;
    for (const auto& row : yes_)
      for (const double n : row) all += n;
    for (int value = 0; value < 64; ++value) {
      double hit = 0, alarm = 0;
      for (int saturation = 0; saturation < 64; ++saturation) {
        for (int v = value; v < 64; ++v) hit += yes_[v][saturation], alarm += no_[v][saturation];
        const double iou = hit / std::max(1.0, all + alarm);
        if (iou > best)
          best = iou, best_f1 = 2 * hit / std::max(1.0, hit + all + alarm), best_value = 4 * value,
          best_saturation = saturation;
      }
    }
    fmt::print(
        "  {:<26} IoU {:.3f}  F1 {:.3f}  (value >= {}, saturation <= {:.2f}, tuned on these very pictures)\n",
        name, best, best_f1, best_value, best_saturation / 63.0);
  }

 private:
  std::array<std::array<double, 64>, 64> yes_{}, no_{};
};

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
    l.visible_glare = l.glare & (light_of(l.bgr) >= 0.09f);
  else
    l.visible_glare = cv::imread(frame.visible_glare.string(), cv::IMREAD_GRAYSCALE);
  l.dark_glare = l.glare & ~l.visible_glare;
  return l;
}

// The picture, and beside it what was found: green rightly, red wrongly, magenta missed, grey missed where
// dark.
void draw(const std::filesystem::path& path, const Loaded& l, const Masks& found) {
  cv::Mat drawn = l.bgr.clone();
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(found.water.clone(), outlines, cv::RETR_LIST, cv::CHAIN_APPROX_NONE);
  cv::drawContours(drawn, outlines, -1, {255, 80, 0}, 2);
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
  void add(const Loaded& l, const Masks& single, const Masks& across) {
    const cv::Mat none = cv::Mat::zeros(l.glare.size(), CV_8UC1);
    const std::array<const Masks*, 2> found{&single, &across};
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
    in_sight[0].print("one frame, in sight");
    in_sight[1].print("across frames, in sight");
    threshold[1].print("threshold, in sight");
  }
};

struct Choice {
  bool without_sun = false;  // no estimate of the sun's place from the flight's own glint
  bool all_frames = false;   // blurred and oblique ones too
  int every = 1;             // scores every n-th frame; views of it are searched all the same
  std::filesystem::path pictures;
};

// The flight's frames, searched when first asked for.
class Searched {
 public:
  explicit Searched(const std::vector<const scoring::TruthFrame*>& frames)
      : frames_(frames), kept_(frames.size()) {}
  const SearchedFrame& at(std::size_t i) {
    if (kept_[i].bgr.empty()) {
      const cv::Mat bgr =
          cv::imread(frames_[i]->picture.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
      const auto started = std::chrono::steady_clock::now();
      kept_[i] = searched_frame(bgr);
      seconds_ += std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
      ++count_;
    }
    return kept_[i];
  }
  /// With where it looks into the glitter, known once the sun is.
  SearchedFrame with_field(std::size_t i, const cv::Mat& field) {
    SearchedFrame frame = at(i);
    frame.field = field;
    return frame;
  }
  [[nodiscard]] double seconds_a_frame() const { return seconds_ / std::max(1, count_); }

 private:
  const std::vector<const scoring::TruthFrame*>& frames_;
  std::vector<SearchedFrame> kept_;
  double seconds_ = 0;
  int count_ = 0;
};

cv::Mat as_chance(const cv::Mat& levels) {
  cv::Mat chance;
  levels.convertTo(chance, CV_32FC1, 1 / 255.0);
  return chance;
}

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
  std::vector<cv::Mat> fields(frames.size());
  const auto compare = [&](std::size_t i, const GlintPrior& prior) {
    std::vector<OverlaidView> others;
    for (const int j : views[i])
      others.push_back(
          overlay(searched.with_field(j, fields[j]), places[j], places[i], searched.at(i).bgr.size()));
    return compare_views(searched.at(i), others, prior);
  };
  const auto started = std::chrono::steady_clock::now();
  std::optional<GlintSun> sun;
  if (!choice.without_sun) {
    const auto samples_of = [&](int i, const std::vector<cv::Mat>& fields) {
      return glint_samples(i, views, places, [&](int j) { return searched.with_field(j, fields[j]); });
    };
    const auto for_each = [](std::size_t count, const std::function<void(std::size_t)>& body) {
      for (std::size_t i = 0; i < count; ++i) body(i);
    };
    sun = sun_of_views(places, {}, samples_of, for_each, fields);
  }
  const double sun_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
  int scored = 0;
  for (std::size_t i = 0; i < frames.size(); i += choice.every) {
    const Loaded l = load(*frames[i]);
    const SearchedFrame& own = searched.at(i);
    const Masks masks = masks_above(as_chance(own.water), own.limit, l.grey);
    const ComparedFrame compared =
        compare(i, sun ? glint_prior(*sun, places[i], own.bgr.size()) : GlintPrior{});
    const Masks refined = masks_above(compared.water, compared.limit, l.grey);
    for (Scores* all : {&scores, &total}) all->add(l, masks, refined);
    if (!choice.pictures.empty()) {
      draw(choice.pictures / fmt::format("{}_{}.jpg", flight.name, frames[i]->picture.stem().string()), l,
           masks);
      draw(choice.pictures / fmt::format("{}_{}_across.jpg", flight.name, frames[i]->picture.stem().string()),
           l, refined);
    }
    ++scored;
  }
  fmt::print(
      "{}: {} of {} frames, sun {:.0f} deg, wave mean square slope {:.4f}, {:.3f} s a frame, {:.3f} s a "
      "frame for the sun\n",
      flight.name, scored, frames.size(), flight.sun_elevation_deg, flight.mean_square_slope,
      searched.seconds_a_frame(), sun_s / std::max<std::size_t>(1, frames.size()));
  if (sun) {
    const double away_deg =
        std::acos(std::clamp(
            sun->to_sun.dot(sun_direction({flight.sun_elevation_deg, flight.sun_azimuth_deg})), -1.0, 1.0)) *
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
  Choice choice;
  Scores total;
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
    else
      score_flight(argument, choice, total);
  }
  fmt::print("all flights together\n");
  total.print();
  return 0;
}
