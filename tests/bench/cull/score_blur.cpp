// Scores the cull on photographs blurred by known kernels.
//   score_blur [-t TABLE] [--flights N] [--frames N] [--seed N] [--root FOLDER]... [--modules FOLDER] LIST
//   PART
// Each flight has one camera and few scenes; half of its frames are sharp, the others blurred in six ways by
// turns.
#include <unistd.h>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <opencv2/imgcodecs.hpp>
#include <string>

#include "pictures/blur_samples.h"
#include "pictures/photographs.h"
#include "pipeline/imaging/frame_reader.h"
#include "separation.h"
#include "stages/cull/cull.h"

namespace {

using namespace lookdown;
namespace fs = std::filesystem;

double turn_between(double a_deg, double b_deg) {
  return std::abs(std::fmod(a_deg - b_deg + 90 + 3600, 180) - 90);
}

FrameRecord measured(const cv::Mat& picture, const fs::path& folder, int index) {
  const FrameReader reader;
  FrameRecord frame;
  frame.source.file = std::to_string(index) + ".png";
  frame.source.path = folder / frame.source.file;
  cv::imwrite(frame.source.path, picture, {cv::IMWRITE_PNG_COMPRESSION, 1});
  frame.source.width_px = picture.cols;
  frame.source.height_px = picture.rows;
  frame.source.format = "PNG";
  FramePixels pixels(reader, frame.source);
  frame.sharpness = cull::measure(pixels);
  fs::remove(frame.source.path);
  return frame;
}

/// All reasons, joined by semicolons.
std::string words_of(const Decision& decision) {
  std::string words;
  for (const Reason& reason : decision.reasons) words += (words.empty() ? "" : ";") + reason.word;
  return words;
}

struct Tally {
  int sharp = 0, sharp_kept = 0, sharp_told = 0, blurred = 0, blurred_kept = 0;
  std::vector<double> sharp_score, blurred_score, length, direction;
};

void add(Tally& t, const FrameRecord& frame, const bench::BlurRecipe& truth) {
  const Sharpness& s = *frame.sharpness;
  const bool keep = frame.decision.verdict == Verdict::keep;
  const double score = s.sharpness.value_or(0.5);
  if (truth.sharp())
    ++t.sharp, t.sharp_kept += keep, t.sharp_told += keep || !s.sharpness, t.sharp_score.push_back(score);
  if (truth.blurred()) ++t.blurred, t.blurred_kept += keep, t.blurred_score.push_back(score);
  if (truth.smear_px >= 4 && truth.smear_px <= 25 && s.smear_px) {
    t.length.push_back(std::abs(*s.smear_px / truth.smear_px - 1));
    if (s.smear_deg) t.direction.push_back(turn_between(*s.smear_deg, truth.smear_deg));
  }
}

void print(const char* name, const Tally& t) {
  const double kept = t.sharp_kept / std::max(1.0, double(t.sharp)),
               missed = t.blurred_kept / std::max(1.0, double(t.blurred));
  std::printf(
      "%-10s sharp %4d: called soft %.3f, not kept %.3f | blurred %4d: kept %.3f | balanced %.4f | area "
      "%.4f, best "
      "balanced %.4f | length %.3f, direction %.2f deg (n %zu)\n",
      name, t.sharp, 1 - t.sharp_told / std::max(1.0, double(t.sharp)), 1 - kept, t.blurred, missed,
      0.5 * (kept + 1 - missed), bench::area_under_curve(t.sharp_score, t.blurred_score),
      t.sharp_score.empty() || t.blurred_score.empty()
          ? NAN
          : bench::best_balanced(t.sharp_score, t.blurred_score).accuracy,
      bench::median(t.length), bench::median(t.direction), t.length.size());
}

}  // namespace

int main(int argc, char** argv) {
  cv::setNumThreads(1);
  bench::PackageFolders folders;
  std::vector<std::string> rest;
  std::ofstream table;
  bool as_is = false;
  int flights = 10, frames = 40;
  unsigned seed = 1;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "-t")
      table.open(argv[++i]);
    else if (word == "--flights")
      flights = std::stoi(argv[++i]);
    else if (word == "--frames")
      frames = std::stoi(argv[++i]);
    else if (word == "--seed")
      seed = std::stoul(argv[++i]);
    else if (word == "--root")
      folders.roots.emplace_back(argv[++i]);
    else if (word == "--as-is")
      as_is = true;
    else if (word == "--modules")
      folders.node_modules = argv[++i];
    else
      rest.push_back(word);
  }
  const auto photographs = bench::read_photographs(rest.at(0), rest.at(1), folders);
  const fs::path scratch = fs::temp_directory_path() / ("score_blur_" + std::to_string(getpid()));
  fs::create_directories(scratch);
  std::vector<Tally> by_kind(bench::kBlurKinds);
  Tally all;
  for (int f = 0; f < flights; ++f) {
    std::mt19937 random(seed * 1000 + f);
    bench::CameraRecipe camera = bench::random_camera(random);
    if (as_is)
      camera.lens_sigma_px = 0.15, camera.astigmatism = 1, camera.noise_levels = 0, camera.sharpening = 0,
      camera.mosaic_sensor = false;
    std::vector<const bench::Photograph*> scenes;
    for (int k = 0; k < (as_is ? 20 : 4); ++k) scenes.push_back(&photographs[random() % photographs.size()]);
    FlightRecord flight;
    std::vector<bench::BlurRecipe> truths;
    for (int i = 0; i < frames; ++i) {
      const auto kind = static_cast<bench::BlurKind>(i % 2 == 0 ? 0 : 1 + i / 2 % (bench::kBlurKinds - 1));
      const cv::Mat sharp = bench::random_part(*scenes[random() % scenes.size()], random);
      if (sharp.empty()) continue;
      truths.push_back(bench::random_blur(kind, camera, random));
      flight.frames.push_back(measured(bench::take_picture(sharp, truths.back(), random), scratch, i));
    }
    cull::Options options;
    options.keep_repeats = true;
    cull::decide(flight, options);
    for (std::size_t i = 0; i < truths.size(); ++i) {
      const Sharpness& s = *flight.frames[i].sharpness;
      add(all, flight.frames[i], truths[i]);
      add(by_kind[static_cast<std::size_t>(truths[i].kind)], flight.frames[i], truths[i]);
      if (table.is_open()) {
        const auto& t = truths[i];
        table << f << ',' << i << ',' << word(t.kind) << ',' << t.smear_px << ',' << t.smear_deg << ','
              << t.bend_rad << ',' << t.turn_rad << ',' << t.sigma_px << ',' << t.camera.lens_sigma_px << ','
              << t.camera.astigmatism << ',' << t.camera.astigmatism_deg << ',' << t.camera.noise_levels
              << ',' << t.camera.jpeg_quality << ',' << t.camera.sharpening << ',' << t.camera.mosaic_sensor
              << ',' << s.sharpness.value_or(-1) << ',' << s.blur_fwhm_px.value_or(-1) << ','
              << s.smear_px.value_or(-1) << ',' << s.smear_deg.value_or(-1) << ',' << s.detail << ','
              << word(flight.frames[i].decision.verdict) << ',' << words_of(flight.frames[i].decision)
              << '\n';
      }
    }
  }
  fs::remove_all(scratch);
  for (int k = 0; k < bench::kBlurKinds; ++k) print(word(static_cast<bench::BlurKind>(k)), by_kind[k]);
  print("all", all);
  return 0;
}
