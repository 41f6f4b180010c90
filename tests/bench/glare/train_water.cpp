// Learns what waters usually look like, for stages/glare/water/usual_look.inc:
//   train_water OUT.inc FIRST_SEED LAST_SEED FLIGHT_FOLDER...
// from scenes that are painted here (of the seeds given) and from flights of `render_flight --masks`, both
// counting the same, each picture twice in other light, size, softness and noise. Deterministic.
#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "flight_truth.h"
#include "painted_water.h"
#include "stages/glare/water/learned_look.h"
#include "varied_pictures.h"

namespace {

using namespace lookdown::glare;

// Every so many patches: neighbours say the same.
constexpr std::size_t kStep = 12;

void add_picture(LookSamples& samples, const cv::Mat& bgr, const cv::Mat& water, std::uint32_t seed) {
  constexpr std::uint32_t kVariants = 2;
  constexpr float kPatchAreaPx = 64;
  for (std::uint32_t k = 0; k < kVariants; ++k) {
    const scoring::VariedPicture varied = scoring::varied(bgr, water, kVariants * seed + k);
    const WorkingPicture picture = prepare_look(varied.bgr, varied.bgr.size());
    const SurfaceLook surface = surface_look(picture);
    const SeenPatches seen = seen_patches(picture, surface);
    cv::Mat share;
    cv::resize(varied.water, share, picture.calm_bgr.size(), 0, 0, cv::INTER_AREA);
    share.convertTo(share, CV_32FC1, 1 / 255.0);
    const std::vector<float> wet = seen.patches.means_inside({share})[0];
    for (std::size_t i = (seed + k) % kStep; i < seen.patches.count(); i += kStep) {
      samples.looks.push_back(seen.looks[i]);
      samples.water.push_back(wet[i] > 0.5f ? 1 : 0);
      samples.weights.push_back(seen.patches.area_px[i] / kPatchAreaPx);
    }
  }
}

double weight_of(const LookSamples& samples) {
  double sum = 0;
  for (const float weight : samples.weights) sum += weight;
  return sum;
}

void write(const std::string& path, const LookParameters& numbers) {
  std::ofstream out(path);
  out << "// Written by train_water (tests/bench/glare): means, spreads, weights.\n"
         "constexpr LookParameters kUsualLook = {";
  for (std::size_t i = 0; i < numbers.size(); ++i)
    out << (i % 10 ? " " : "\n    ") << fmt::format("{:.5g}F,", numbers[i]);
  out << "\n};\n";
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 5) return fmt::print("usage: train_water OUT.inc FIRST_SEED LAST_SEED FLIGHT_FOLDER...\n"), 2;
  LookSamples rendered, painted;
  std::uint32_t seed = 0;
  for (int i = 4; i < argc; ++i)
    for (const scoring::TruthFrame& frame : scoring::read_truth(argv[i]).frames)
      if (frame.nadir && frame.sharp)
        add_picture(rendered,
                    cv::imread(frame.picture.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION),
                    cv::imread(frame.water.string(), cv::IMREAD_GRAYSCALE), ++seed);
  for (int painting = std::atoi(argv[2]); painting <= std::atoi(argv[3]); ++painting) {
    painted::Choice choice;
    choice.seed = static_cast<std::uint32_t>(painting);
    const painted::Scene scene = painted::paint(choice);
    add_picture(painted, scene.bgr, scene.water, ++seed);
  }
  const auto even = static_cast<float>(weight_of(rendered) / std::max(weight_of(painted), 1.0));
  for (float& weight : painted.weights) weight *= even;
  rendered.add(painted, 0);
  const auto learned = LearnedLook::from(rendered);
  if (!learned) return fmt::print("too little water or ground to learn from\n"), 1;
  write(argv[1], learned->parameters());
  fmt::print("{} patches\n", rendered.looks.size());
}
