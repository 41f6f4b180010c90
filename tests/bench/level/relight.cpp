// Writes the frames of a folder in other light and through a worse lens, with what is known of their
// horizons.
//
//   relight FOLDER OUT [--each N] [--seed S] [--every N --from K]
//
// N pictures of each frame (1), of every N-th frame from the K-th; FOLDER as for bench_level. OUT gets
// labels.csv where FOLDER has one.
#include <filesystem>
#include <fstream>
#include <iostream>
#include <opencv2/imgcodecs.hpp>
#include <string>

#include "tests/bench/level/known_frames.h"
#include "tests/bench/level/other_light.h"

namespace fs = std::filesystem;

int main(int count, char** words) {
  if (count < 3) {
    std::cerr << "usage: relight FOLDER OUT [--each N] [--seed S] [--every N --from K]\n";
    return 2;
  }
  int each = 1, seed = 1, every = 1, from = 0;
  for (int i = 3; i + 1 < count; i += 2) {
    const std::string word = words[i];
    (word == "--each"    ? each
     : word == "--seed"  ? seed
     : word == "--every" ? every
                         : from) = std::stoi(words[i + 1]);
  }
  const fs::path folder = words[1], out = words[2];
  fs::create_directories(out);
  const auto known = lookdown::level::known_frames(folder);
  cv::RNG random(static_cast<std::uint64_t>(seed));
  std::ofstream labels;
  if (fs::exists(folder / "labels.csv")) labels.open(out / "labels.csv");
  if (labels) labels << "file,slope,offset\n";
  for (auto i = static_cast<std::size_t>(from); i < known.size(); i += static_cast<std::size_t>(every)) {
    const cv::Mat3b bgr =
        cv::imread(known[i].path.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    for (int k = 0; k < each; ++k) {
      const std::string file = known[i].path.stem().string() + "_" + std::to_string(k) + ".png";
      cv::imwrite((out / file).string(), lookdown::level::other_light(bgr, random));
      if (labels && known[i].line)
        labels << file << ',' << known[i].line->x() << ',' << known[i].line->z() / 480 << '\n';
    }
  }
  return 0;
}
