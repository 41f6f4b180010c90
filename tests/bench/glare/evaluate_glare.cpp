// Scores glare masks against a renderer's truth: evaluate_glare [--pictures OUT] [--all] FLIGHT_FOLDER...
// Prints pixel IoU, F1 and false alarms of the single-frame search, of the comparison across frames (true poses), and of a plain
// brightness and saturation threshold that was given the truth to tune itself on. --all: blurred and oblique frames too. Before scoring,
// see to it that the flights are none of those the tables were trained on.
#include <fmt/format.h>

#include <array>
#include <chrono>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "flight_truth.h"
#include "stages/glare/glare_search.h"

namespace {

using namespace lookdown::glare;

struct Score {
  double hit = 0, false_alarm = 0, missed = 0, dry_alarm = 0, dry = 0, crust_alarm = 0, crust = 0, water_hit = 0, water_any = 0;
  void add(const cv::Mat& glare, const cv::Mat& water, const cv::Mat& true_glare, const cv::Mat& true_water, const cv::Mat& true_crust) {
    const auto count = [](const cv::Mat& m) { return static_cast<double>(cv::countNonZero(m)); };
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
    fmt::print("  {:<24} IoU {:.3f}  F1 {:.3f}  precision {:.3f}  recall {:.3f}  on dry land {:.3f} %  on crust {:.3f} %  water IoU {:.3f}\n", name,
               hit / std::max(1.0, hit + false_alarm + missed), 2 * hit / std::max(1.0, 2 * hit + false_alarm + missed),
               hit / std::max(1.0, hit + false_alarm), hit / std::max(1.0, hit + missed), 100 * dry_alarm / std::max(1.0, dry),
               100 * crust_alarm / std::max(1.0, crust), water_hit / std::max(1.0, water_any));
  }
};

// "Glare is bright and pale", with the two limits that score best on the truth itself.
class Threshold {
 public:
  void add(const cv::Mat& bgr, const cv::Mat& true_glare) {
    for (int y = 0; y < bgr.rows; y += 2)
      for (int x = 0; x < bgr.cols; x += 2) {
        const cv::Vec3b& v = bgr.at<cv::Vec3b>(y, x);
        const int most = std::max({v[0], v[1], v[2]}), least = std::min({v[0], v[1], v[2]});
        const int saturation = most ? 63 * (most - least) / most : 0;
        (true_glare.at<uchar>(y, x) ? yes_ : no_)[most / 4][saturation] += 1;
      }
  }
  void print() const {
    double best = 0, best_f1 = 0;
    int best_value = 0, best_saturation = 0;
    double all = 0;
    for (const auto& row : yes_) for (const double n : row) all += n;
    for (int value = 0; value < 64; ++value) {
      double hit = 0, alarm = 0;
      for (int saturation = 0; saturation < 64; ++saturation) {
        for (int v = value; v < 64; ++v) hit += yes_[v][saturation], alarm += no_[v][saturation];
        const double iou = hit / std::max(1.0, all + alarm);
        if (iou > best) best = iou, best_f1 = 2 * hit / std::max(1.0, hit + all + alarm), best_value = 4 * value, best_saturation = saturation;
      }
    }
    fmt::print("  {:<24} IoU {:.3f}  F1 {:.3f}  (value >= {}, saturation <= {:.2f}, tuned on these very pictures)\n", "plain threshold", best,
               best_f1, best_value, best_saturation / 63.0);
  }

 private:
  std::array<std::array<double, 64>, 64> yes_{}, no_{};
};

void draw(const std::filesystem::path& path, const cv::Mat& bgr, const Masks& found, const cv::Mat& true_glare) {
  cv::Mat drawn = bgr.clone();
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(found.water.clone(), outlines, cv::RETR_LIST, cv::CHAIN_APPROX_NONE);
  cv::drawContours(drawn, outlines, -1, {255, 80, 0}, 2);
  drawn.setTo(cv::Scalar(0, 200, 0), found.glare & true_glare);
  drawn.setTo(cv::Scalar(0, 0, 255), found.glare & ~true_glare);
  drawn.setTo(cv::Scalar(255, 0, 255), ~found.glare & true_glare);
  cv::Mat both;
  cv::hconcat(bgr, drawn, both);
  cv::imwrite(path.string(), both);
}

struct Loaded {
  cv::Mat bgr, grey, glare, water, crust;
};
Loaded load(const scoring::TruthFrame& frame) {
  Loaded l;
  l.bgr = cv::imread(frame.picture.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  cv::cvtColor(l.bgr, l.grey, cv::COLOR_BGR2GRAY);
  l.glare = cv::imread(frame.glare.string(), cv::IMREAD_GRAYSCALE);
  l.water = cv::imread(frame.water.string(), cv::IMREAD_GRAYSCALE);
  l.crust = cv::imread(frame.crust.string(), cv::IMREAD_GRAYSCALE);
  return l;
}

void score_flight(const std::filesystem::path& folder, bool all_frames, const std::filesystem::path& pictures, std::array<Score, 2>& total) {
  const scoring::TruthFlight flight = scoring::read_truth(folder);
  std::vector<const scoring::TruthFrame*> frames;
  std::vector<PlacedCamera> places;
  for (const auto& frame : flight.frames)
    if (all_frames || (frame.nadir && frame.sharp)) frames.push_back(&frame), places.push_back(frame.place);

  Score single, across;
  Threshold threshold;
  std::vector<SearchedFrame> searched;
  double seconds = 0;
  for (const auto* frame : frames) {
    const Loaded l = load(*frame);
    const auto started = std::chrono::steady_clock::now();
    const WorkingPicture picture = prepare(l.bgr);
    const SearchResult found = search_picture(picture.bgr);
    const Masks masks = masks_from(found.water, found.glare, l.grey);
    seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
    for (Score* score : {&single, &total[0]}) score->add(masks.glare, masks.water, l.glare, l.water, l.crust);
    threshold.add(l.bgr, l.glare);
    if (!pictures.empty()) draw(pictures / fmt::format("{}_{}.jpg", flight.name, frame->picture.stem().string()), l.bgr, masks, l.glare);
    SearchedFrame kept{picture.bgr, {}, {}};
    found.water.convertTo(kept.water, CV_8UC1, 255);
    found.glare.convertTo(kept.glare, CV_8UC1, 255);
    searched.push_back(kept);
  }
  const auto views = choose_views(places, 8);
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const Loaded l = load(*frames[i]);
    std::vector<OverlaidView> others;
    for (const int j : views[i]) others.push_back(overlay(searched[j], places[j], places[i], searched[i].bgr.size()));
    const ComparedFrame compared = compare_views(searched[i], others);
    const Masks masks = masks_from(compared.water, compared.glare, l.grey);
    for (Score* score : {&across, &total[1]}) score->add(masks.glare, masks.water, l.glare, l.water, l.crust);
    if (!pictures.empty()) draw(pictures / fmt::format("{}_{}_across.jpg", flight.name, frames[i]->picture.stem().string()), l.bgr, masks, l.glare);
  }
  fmt::print("{}: {} frames, sun {:.0f} deg, wave mean square slope {:.4f}, {:.3f} s a frame\n", flight.name, frames.size(),
             flight.sun_elevation_deg, flight.mean_square_slope, seconds / std::max<std::size_t>(1, frames.size()));
  single.print("one frame");
  across.print("across frames");
  threshold.print();
}

}  // namespace

int main(int argc, char** argv) {
  bool all_frames = false;
  std::filesystem::path pictures;
  std::array<Score, 2> total;
  for (int i = 1; i < argc; ++i) {
    const std::string argument = argv[i];
    if (argument == "--all") all_frames = true;
    else if (argument == "--pictures" && i + 1 < argc) std::filesystem::create_directories(pictures = argv[++i]);
    else score_flight(argument, all_frames, pictures, total);
  }
  fmt::print("all flights together\n");
  total[0].print("one frame");
  total[1].print("across frames");
  return 0;
}
