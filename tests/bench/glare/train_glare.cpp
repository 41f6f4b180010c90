// Trains the tables of stages/glare/model_tables.cpp.
//   train_glare water|glare OUT.cpp LIST.csv     then, built with these,
//   train_glare views OUT.cpp FLIGHT_FOLDER...   (flights of render_flight --masks with overlap, true poses)
// LIST.csv: picture,water mask,glare mask,weight,copies with no header; an empty glare mask means that glare was not marked
// there. Copies beyond the first have colours, brightness and size changed by lot. paint_scenes writes painted scenes with such a
// list; render_flight --masks writes masks beside its frames. Score on other pictures: evaluate_glare.
#include <fmt/format.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <functional>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>
#include <sstream>

#include "flight_truth.h"
#include "stages/glare/boosted_trees.h"
#include "stages/glare/glare_search.h"
#include "stages/glare/plane_math.h"
#include "stages/glare/view_comparison.h"
#include "tree_training.h"

namespace {

using namespace lookdown::glare;

struct Example {
  cv::Mat bgr, water, glare;  // glare empty: not marked
  float weight = 1;
  int copies = 1;
};

std::mt19937 lot(20250611);
double between(double a, double b) { return a + (b - a) * (lot() / 4294967296.0); }

// Other cameras: brightness, contrast, white balance, saturation and size.
Example changed(const Example& from) {
  Example to;
  to.weight = from.weight;
  const double factor = between(0.6, 1.25);
  cv::resize(from.bgr, to.bgr, {}, factor, factor, factor < 1 ? cv::INTER_AREA : cv::INTER_LINEAR);
  cv::resize(from.water, to.water, to.bgr.size(), 0, 0, cv::INTER_NEAREST);
  if (!from.glare.empty()) cv::resize(from.glare, to.glare, to.bgr.size(), 0, 0, cv::INTER_NEAREST);
  const double gamma = between(0.8, 1.25), saturation = between(0.6, 1.3);
  const double gain[3] = {between(0.88, 1.12), between(0.95, 1.05), between(0.88, 1.12)};
  for (int y = 0; y < to.bgr.rows; ++y)
    for (int x = 0; x < to.bgr.cols; ++x) {
      cv::Vec3b& v = to.bgr.at<cv::Vec3b>(y, x);
      const double grey = 0.114 * v[0] + 0.587 * v[1] + 0.299 * v[2];
      for (int c = 0; c < 3; ++c) {
        const double mixed = std::clamp((grey + saturation * (v[c] - grey)) * (v[c] >= 253 ? 1 : gain[c]) / 255, 0.0, 1.0);
        v[c] = cv::saturate_cast<uchar>(255 * std::pow(mixed, gamma));
      }
    }
  return to;
}

void for_each_listed(const std::string& path, const std::function<void(const Example&)>& take) {
  std::ifstream file(path);
  for (std::string line; std::getline(file, line);) {
    std::istringstream cells(line);
    std::string picture, water, glare, weight, copies;
    std::getline(cells, picture, ',');
    std::getline(cells, water, ',');
    std::getline(cells, glare, ',');
    std::getline(cells, weight, ',');
    std::getline(cells, copies, ',');
    Example example{cv::imread(picture), cv::imread(water, cv::IMREAD_GRAYSCALE),
                    glare.empty() ? cv::Mat() : cv::imread(glare, cv::IMREAD_GRAYSCALE), weight.empty() ? 1.0f : std::stof(weight),
                    copies.empty() ? 1 : std::stoi(copies)};
    if (example.bgr.empty() || example.water.empty()) {
      fmt::print(stderr, "{}: picture or water mask missing\n", picture);
      continue;
    }
    take(example);
  }
}

cv::Mat at_size(const cv::Mat& mask, cv::Size size) {
  cv::Mat out;
  cv::resize(mask, out, size, 0, 0, cv::INTER_AREA);
  return out;
}

// Pixels by lot; mixed pixels on an outline are left out.
template <class Take>
void draw(const cv::Mat& mask, int count, Take take) {
  for (int i = 0; i < count; ++i) {
    const cv::Point at(static_cast<int>(lot() % mask.cols), static_cast<int>(lot() % mask.rows));
    const uchar share = mask.at<uchar>(at);
    if (share > 50 && share < 205) continue;
    take(at, share >= 205);
  }
}

constexpr int kPixelsAPicture = 2000;

// Pixels by lot of those where the mask is set: what is rare and matters is looked at more often than its area alone would have it.
template <class Take>
void draw_set(const cv::Mat& mask, int count, Take take) {
  std::vector<cv::Point> set;
  cv::findNonZero(mask >= 205, set);
  if (set.empty()) return;
  for (int i = 0; i < count; ++i) take(set[lot() % set.size()]);
}

void add_water(training::Samples& samples, const FeaturePlanes& planes, const Example& example) {
  const cv::Size size = planes.planes[0].size();
  draw(at_size(example.water, size), kPixelsAPicture,
       [&](cv::Point at, bool is_water) { samples.add(planes, at, is_water, example.weight * (is_water ? 1.5f : 1.0f)); });
  if (!example.glare.empty())
    draw_set(at_size(example.glare, size), kPixelsAPicture / 2, [&](cv::Point at) { samples.add(planes, at, true, example.weight); });
}

void add_glare(training::Samples& samples, const Example& example) {
  if (example.glare.empty()) return;
  const WorkingPicture picture = prepare(example.bgr);
  const cv::Mat water = water_chance(picture);
  const FeaturePlanes planes = glare_features(picture, water);
  const cv::Mat glare = at_size(example.glare, water.size());
  draw(glare, 3 * kPixelsAPicture, [&](cv::Point at, bool is_glare) {
    if (water.at<float>(at) > kLeastWaterChance) samples.add(planes, at, is_glare, example.weight);
  });
  draw_set(glare, kPixelsAPicture / 2, [&](cv::Point at) {
    if (water.at<float>(at) > kLeastWaterChance) samples.add(planes, at, true, example.weight);
  });
  // Bright things that are no glare, near water: crust, boats, docks, foam.
  const cv::Mat bright = (picture.light > std::max(0.25, quantile_of(picture.light, 0.9))) & (glare < 50) & (water > kLeastWaterChance);
  draw_set(bright, kPixelsAPicture, [&](cv::Point at) { samples.add(planes, at, false, example.weight); });
}

struct Models {
  training::Model look, context, glare, views;
};

// What is built in now; a training run replaces its own part.
Models built_in() {
  const auto copy = [](const TreeModel& model) { return training::Model{model.bias, {model.trees.begin(), model.trees.end()}}; };
  return {copy(water_look_model()), copy(water_context_model()), copy(glare_model()), copy(view_model())};
}

std::string tables(const Models& models) {
  std::string text =
      "// Written by tests/bench/glare/train_glare.cpp; do not edit by hand.\n#include \"stages/glare/boosted_trees.h\"\n\n"
      "namespace lookdown::glare {\nnamespace {\n\n// clang-format off\n";
  std::string functions;
  const auto add = [&](const training::Model& model, const char* name) {
    text += training::source_of(model, name);
    functions += fmt::format("TreeModel {0}_model() {{ return {{k_{0}_bias, k_{0}}}; }}\n", name);
  };
  add(models.look, "water_look");
  add(models.context, "water_context");
  add(models.glare, "glare");
  add(models.views, "view");
  return text + "// clang-format on\n\n}  // namespace\n\n" + functions + "\n}  // namespace lookdown::glare\n";
}

// Samples of the comparison of views; as many views as the flight has, and fewer by lot.
void add_views(training::Samples& samples, const std::filesystem::path& folder) {
  const scoring::TruthFlight flight = scoring::read_truth(folder);
  std::vector<SearchedFrame> searched;
  std::vector<PlacedCamera> places;
  std::vector<cv::Mat> true_glare;
  for (const auto& frame : flight.frames) {
    if (!frame.nadir || !frame.sharp) continue;
    const cv::Mat bgr = cv::imread(frame.picture.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    searched.push_back(searched_frame(bgr));
    places.push_back(frame.place);
    true_glare.push_back(cv::imread(frame.glare.string(), cv::IMREAD_GRAYSCALE));
  }
  const auto views = choose_views(places, 8);
  for (std::size_t i = 0; i < searched.size(); ++i) {
    std::vector<OverlaidView> others;
    const std::size_t most = 1 + lot() % 8;
    for (std::size_t k = 0; k < views[i].size() && k < most; ++k)
      others.push_back(overlay(searched[views[i][k]], places[views[i][k]], places[i], searched[i].bgr.size()));
    if (others.empty()) continue;
    cv::Mat water, count;
    const FeaturePlanes planes = view_features(searched[i], others, water, count);
    draw(at_size(true_glare[i], water.size()), 4 * kPixelsAPicture, [&](cv::Point at, bool is_glare) {
      if (water.at<float>(at) > kLeastWaterChance && count.at<uchar>(at) > 0) samples.add(planes, at, is_glare, 1);
    });
  }
}

void save(const std::string& path, const std::string& text) { std::ofstream(path) << text; }

}  // namespace

// The glare model sees water as the built-in water tables find it: train with `water` first, build, then train with `glare`, build, then
// with `views`.
int main(int argc, char** argv) {
  if (argc < 4) return fmt::print("usage: train_glare water|glare OUT.cpp LIST.csv | train_glare views OUT.cpp FLIGHT_FOLDER...\n"), 2;
  const std::string what = argv[1];
  Models models = built_in();
  training::Samples first_samples, second_samples;
  if (what == "views") {
    for (int i = 3; i < argc; ++i) add_views(first_samples, argv[i]);
    models.views = training::boost(first_samples, {30, 0.2, 40});
  } else if (what == "glare") {
    for_each_listed(argv[3], [&](const Example& original) {
      for (int copy = 0; copy < original.copies; ++copy) add_glare(first_samples, copy == 0 ? original : changed(original));
    });
    models.glare = training::boost(first_samples, {60, 0.2, 40});
  } else {
    // Every other picture is kept for the second model, which must see the first one's answers on pictures it has not learnt from.
    std::vector<Example> second_half;
    bool second = false;
    for_each_listed(argv[3], [&](const Example& original) {
      for (int copy = 0; copy < original.copies; ++copy) {
        const Example example = copy == 0 ? original : changed(original);
        if (second) second_half.push_back(example);
        else add_water(first_samples, water_features(prepare(example.bgr)), example);
      }
      second = !second;
    });
    models.look = training::boost(first_samples, {60, 0.15, 40});
    for (const Example& example : second_half) {
      const FeaturePlanes planes = water_features(prepare(example.bgr));
      add_water(second_samples, water_context_features(planes, chance_of(log_odds(models.look.view(), planes))), example);
    }
    models.context = training::boost(second_samples, {30, 0.2, 40});
  }
  fmt::print("{}: {} and {} samples\n", what, first_samples.size(), second_samples.size());
  save(argv[2], tables(models));
  return 0;
}
