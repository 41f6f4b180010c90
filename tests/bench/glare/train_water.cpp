// Trains the tables of stages/glare/model_tables.cpp.
//   train_water look|context OUT.cpp LIST.csv     water by its look, and by its surroundings too
// LIST.csv: picture,water mask,glare mask,weight,copies with no header; an empty glare mask means that glare
// was not marked there. Copies beyond the first have colours, brightness and size changed by lot.
// paint_scenes writes painted scenes with such a list; render_flight --masks writes masks beside its frames.
// Score on other pictures: evaluate_glare.
#include <fmt/format.h>

#include <cmath>
#include <filesystem>
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
double between(double a, double b) {
  return a + (b - a) * (lot() / 4294967296.0);
}

// Other cameras: brightness, contrast, white balance, saturation (none at all now and then) and size.
Example changed(const Example& from) {
  Example to;
  to.weight = from.weight;
  const double factor = between(0, 1) < 0.7 ? between(0.6, 1.25) : between(1.25, 2.2);
  cv::resize(from.bgr, to.bgr, {}, factor, factor, factor < 1 ? cv::INTER_AREA : cv::INTER_LINEAR);
  cv::resize(from.water, to.water, to.bgr.size(), 0, 0, cv::INTER_NEAREST);
  if (!from.glare.empty()) cv::resize(from.glare, to.glare, to.bgr.size(), 0, 0, cv::INTER_NEAREST);
  const int width = std::min(to.bgr.cols, kWorkingLongSidePx),
            height = std::min(to.bgr.rows, kWorkingLongSidePx * 3 / 4);
  const cv::Rect part(static_cast<int>(between(0, to.bgr.cols - width)),
                      static_cast<int>(between(0, to.bgr.rows - height)), width, height);
  to.bgr = to.bgr(part).clone();
  to.water = to.water(part);
  if (!to.glare.empty()) to.glare = to.glare(part);
  const double gamma = between(0.8, 1.25), saturation = between(0, 1) < 0.15 ? 0 : between(0.6, 1.3);
  const double tint = saturation > 0 ? 1 : 0;
  const double gain[3] = {1 + tint * between(-0.12, 0.12), 1 + tint * between(-0.05, 0.05),
                          1 + tint * between(-0.12, 0.12)};
  for (int y = 0; y < to.bgr.rows; ++y)
    for (int x = 0; x < to.bgr.cols; ++x) {
      cv::Vec3b& v = to.bgr.at<cv::Vec3b>(y, x);
      const double grey = 0.114 * v[0] + 0.587 * v[1] + 0.299 * v[2];
      for (int c = 0; c < 3; ++c) {
        const double mixed =
            std::clamp((grey + saturation * (v[c] - grey)) * (v[c] >= 253 ? 1 : gain[c]) / 255, 0.0, 1.0);
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
                    glare.empty() ? cv::Mat() : cv::imread(glare, cv::IMREAD_GRAYSCALE),
                    weight.empty() ? 1.0f : std::stof(weight), copies.empty() ? 1 : std::stoi(copies)};
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

// Pixels by lot of those where the mask is set: what is rare and matters is looked at more often than its
// area alone would have it.
template <class Take>
void draw_set(const cv::Mat& mask, int count, Take take) {
  std::vector<cv::Point> set;
  cv::findNonZero(mask >= 205, set);
  if (set.empty()) return;
  for (int i = 0; i < count; ++i) take(set[lot() % set.size()]);
}

void add_water(training::Samples& samples, const FeaturePlanes& planes, const Example& example) {
  const cv::Size size = planes.planes[0].size();
  draw(at_size(example.water, size), kPixelsAPicture, [&](cv::Point at, bool is_water) {
    samples.add(planes, at, is_water, example.weight * (is_water ? 1.5f : 1.0f));
  });
  if (!example.glare.empty())
    draw_set(at_size(example.glare, size), kPixelsAPicture / 2,
             [&](cv::Point at) { samples.add(planes, at, true, example.weight); });
}

struct Models {
  training::Model look, context;
};

// What is built in now; a training run replaces its own part.
Models built_in() {
  const auto copy = [](const TreeModel& model) {
    return training::Model{model.bias, {model.trees.begin(), model.trees.end()}};
  };
  return {copy(water_look_model()), copy(water_context_model())};
}

std::string tables(const Models& models) {
  std::string text =
      "// Written by tests/bench/glare/train_water.cpp; do not edit by hand.\n#include "
      "\"stages/glare/boosted_trees.h\"\n\n"
      "namespace lookdown::glare {\nnamespace {\n\n// clang-format off\n";
  std::string functions;
  const auto add = [&](const training::Model& model, const char* name) {
    text += training::source_of(model, name);
    functions += fmt::format("TreeModel {0}_model() {{ return {{k_{0}_bias, k_{0}}}; }}\n", name);
  };
  add(models.look, "water_look");
  add(models.context, "water_context");
  return text + "// clang-format on\n\n}  // namespace\n\n" + functions +
         "\n}  // namespace lookdown::glare\n";
}

void save(const std::string& path, const std::string& text) {
  std::ofstream(path) << text;
}

// The first water model learns from every other picture and copy, the second from the rest: it must see the
// first one's answers on pictures that the first has not learnt from.
void for_each_half(const std::string& list, bool second_half,
                   const std::function<void(const Example&)>& take) {
  bool second = false;
  for_each_listed(list, [&](const Example& original) {
    for (int copy = 0; copy < original.copies; ++copy) {
      if (second == second_half) take(copy == 0 ? original : changed(original));
    }
    second = !second;
  });
}

void learn_look(Models& models, const std::string& list) {
  training::Samples samples;
  for_each_half(list, false, [&](const Example& example) {
    add_water(samples, water_features(prepare(example.bgr)), example);
  });
  models.look = training::boost(samples, {100, 0.15, 40});
  fmt::print("water by look: {} samples\n", samples.size());
}

void learn_context(Models& models, const std::string& list) {
  training::Samples samples;
  for_each_half(list, true, [&](const Example& example) {
    const FeaturePlanes planes = water_features(prepare(example.bgr));
    add_water(samples, water_context_features(planes, chance_of(log_odds(models.look.view(), planes))),
              example);
  });
  models.context = training::boost(samples, {50, 0.2, 40});
  fmt::print("water by surroundings: {} samples\n", samples.size());
}

}  // namespace

// Each model sees the built-in tables of those before it: train look, then context, and build in between.
int main(int argc, char** argv) {
  if (argc < 4) return fmt::print("usage: train_water look|context OUT.cpp LIST.csv\n"), 2;
  const std::string what = argv[1];
  Models models = built_in();
  if (what == "look")
    learn_look(models, argv[3]);
  else if (what == "context")
    learn_context(models, argv[3]);
  else
    return fmt::print("no model of this name: {}\n", what), 2;
  save(argv[2], tables(models));
  return 0;
}
