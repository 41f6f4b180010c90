// Trains the tables of stages/glare/model_tables.cpp.
//   train_glare water|glare OUT.cpp LIST.csv
// LIST.csv: picture,water mask,glare mask,weight,copies with no header; an empty glare mask means that glare was not marked
// there. Copies beyond the first have colours, brightness and size changed by lot. paint_scenes writes painted scenes with such a
// list; render_flight --masks writes masks beside its frames. Score on other pictures: evaluate_glare.
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>
#include <sstream>

#include "stages/glare/boosted_trees.h"
#include "stages/glare/glare_search.h"
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

constexpr int kPixelsAPicture = 2500;

void add_water(training::Samples& samples, const FeaturePlanes& planes, const Example& example) {
  const cv::Size size = planes.planes[0].size();
  const cv::Mat water = at_size(example.water, size);
  const cv::Mat glare = example.glare.empty() ? cv::Mat() : at_size(example.glare, size);
  draw(water, kPixelsAPicture, [&](cv::Point at, bool is_water) {
    const bool glaring = !glare.empty() && glare.at<uchar>(at) > 127;
    samples.add(planes, at, is_water, example.weight * (glaring ? 3.0f : 1.0f));
  });
}

void add_glare(training::Samples& samples, const Example& example) {
  if (example.glare.empty()) return;
  const WorkingPicture picture = prepare(example.bgr);
  const cv::Mat water = water_chance(picture);
  const FeaturePlanes planes = glare_features(picture, water);
  const cv::Mat glare = at_size(example.glare, water.size());
  draw(glare, 2 * kPixelsAPicture, [&](cv::Point at, bool is_glare) {
    if (water.at<float>(at) > 0.15f) samples.add(planes, at, is_glare, example.weight);
  });
}

std::string tables(const training::Model& look, const training::Model& context, const training::Model& glare) {
  std::string text = "// Written by tests/bench/glare/train_glare.cpp; do not edit by hand.\n#include \"stages/glare/boosted_trees.h\"\n\nnamespace lookdown::glare {\nnamespace {\n\n// clang-format off\n";
  text += training::source_of(look, "water_look") + training::source_of(context, "water_context") + training::source_of(glare, "glare");
  return text + "// clang-format on\n\n}  // namespace\n\nTreeModel water_look_model() { return {k_water_look_bias, k_water_look}; }\nTreeModel water_context_model() { return {k_water_context_bias, k_water_context}; }\nTreeModel glare_model() { return {k_glare_bias, k_glare}; }\n\n}  // namespace lookdown::glare\n";
}

void save(const std::string& path, const std::string& text) { std::ofstream(path) << text; }

}  // namespace

// The glare model sees water as the built-in water tables find it: train with `water` first, build, then train with `glare`.
int main(int argc, char** argv) {
  if (argc != 4) return fmt::print("usage: train_glare water|glare OUT.cpp LIST.csv\n"), 2;
  const bool for_water = std::string(argv[1]) == "water";
  training::Samples look_samples, context_samples, glare_samples;
  std::vector<Example> second_half;
  bool second = false;
  for_each_listed(argv[3], [&](const Example& original) {
    for (int copy = 0; copy < original.copies; ++copy) {
      const Example example = copy == 0 ? original : changed(original);
      if (!for_water) add_glare(glare_samples, example);
      else if (second) second_half.push_back(example);
      else add_water(look_samples, water_features(prepare(example.bgr)), example);
    }
    second = !second;
  });
  const auto kept = [](const TreeModel& model) { return training::Model{model.bias, {model.trees.begin(), model.trees.end()}}; };
  if (!for_water) {
    fmt::print("glare: {} samples\n", glare_samples.size());
    save(argv[2], tables(kept(water_look_model()), kept(water_context_model()), training::boost(glare_samples, {80, 0.2, 20})));
    return 0;
  }
  const training::Model look = training::boost(look_samples, {60, 0.15, 40});
  for (const Example& example : second_half) {
    const FeaturePlanes planes = water_features(prepare(example.bgr));
    add_water(context_samples, water_context_features(planes, chance_of(log_odds(look.view(), planes))), example);
  }
  fmt::print("water: {} and {} samples\n", look_samples.size(), context_samples.size());
  save(argv[2], tables(look, training::boost(context_samples, {30, 0.2, 40}), kept(glare_model())));
  return 0;
}
