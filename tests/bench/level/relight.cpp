// Writes the frames of a folder in other light and through a worse lens, with what is known of their
// horizons.
//
//   relight FOLDER OUT [--each N] [--seed S] [--every N --from K]
//   relight LIST OUT [--each N] [--seed S] [--part PART] [--root FOLDER]... [--modules FOLDER]
//
// N pictures of each frame (1; 0: each as it is), of every N-th frame from the K-th; FOLDER as for
// bench_level. OUT gets labels.csv where FOLDER has one. LIST as pictures/horizons.txt: photographs of PART
// (score), as they are and turned and made smaller; those without a horizon go to OUT/none.
#include <filesystem>
#include <fstream>
#include <iostream>
#include <opencv2/imgcodecs.hpp>
#include <string>

#include "tests/bench/level/known_frames.h"
#include "tests/bench/level/other_light.h"

namespace fs = std::filesystem;
using namespace lookdown::level;

namespace {

struct Settings {
  int each = 1, seed = 1, every = 1, from = 0;
  std::string part = "score";
  lookdown::bench::PackageFolders packages;
};

/// Writes `each` relit pictures, or the picture itself, and their labels.
class Writer {
 public:
  Writer(const fs::path& out, bool with_labels, const Settings& settings)
      : out_(out), each_(settings.each), random_(static_cast<std::uint64_t>(settings.seed)) {
    fs::create_directories(out);
    if (!with_labels) return;
    labels_.open(out / "labels.csv");
    labels_ << "file,slope,offset\n";
  }
  void write(const cv::Mat3b& bgr, const KnownFrame& known, const std::string& stem, double height_px) {
    for (int k = 0; k < std::max(1, each_); ++k) {
      const std::string file = stem + (each_ > 0 ? "_" + std::to_string(k) : "") + ".png";
      cv::imwrite((out_ / file).string(), each_ > 0 ? other_light(bgr, random_) : bgr);
      if (labels_.is_open() && known.line)
        labels_ << file << ',' << -known.line->x() / known.line->y() << ','
                << -known.line->z() / known.line->y() / height_px << '\n';
    }
  }

 private:
  fs::path out_;
  int each_;
  cv::RNG random_;
  std::ofstream labels_;
};

void relight_folder(const fs::path& folder, const fs::path& out, const Settings& settings) {
  const auto known = known_frames(folder);
  Writer writer(out, fs::exists(folder / "labels.csv"), settings);
  for (auto i = static_cast<std::size_t>(settings.from); i < known.size();
       i += static_cast<std::size_t>(settings.every)) {
    const cv::Mat3b bgr =
        cv::imread(known[i].path.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    writer.write(bgr, known[i], known[i].path.stem().string(), 480);
  }
}

void relight_photographs(const fs::path& list, const fs::path& out, const Settings& settings) {
  Writer with(out, true, settings), without(out / "none", false, settings);
  const auto known = known_photographs(list, settings.part, settings.packages);
  for (std::size_t i = 0; i < known.size(); ++i) {
    const auto seen = seen_frame(known[i]);
    if (!seen) continue;
    const auto views = with_turned(*seen);
    for (std::size_t k = 0; k < views.size(); ++k)
      (known[i].has_horizon ? with : without)
          .write(views[k].bgr, views[k].known,
                 std::to_string(i) + "_" + known[i].path.stem().string() + "_" + std::to_string(k),
                 views[k].bgr.rows);
  }
}

}  // namespace

int main(int count, char** words) try {
  if (count < 3) {
    std::cerr << "usage: relight FOLDER OUT [--each N] [--seed S] [--every N --from K]\n"
                 "       relight LIST OUT [--each N] [--seed S] [--part PART] [--root FOLDER]... [--modules "
                 "FOLDER]\n";
    return 2;
  }
  Settings settings;
  for (int i = 3; i + 1 < count; i += 2) {
    const std::string word = words[i], value = words[i + 1];
    if (word == "--part")
      settings.part = value;
    else if (word == "--root")
      settings.packages.roots.emplace_back(value);
    else if (word == "--modules")
      settings.packages.node_modules = value;
    else
      (word == "--each"    ? settings.each
       : word == "--seed"  ? settings.seed
       : word == "--every" ? settings.every
                           : settings.from) = std::stoi(value);
  }
  if (fs::is_directory(words[1]))
    relight_folder(words[1], words[2], settings);
  else
    relight_photographs(words[1], words[2], settings);
  return 0;
} catch (const std::exception& e) {
  std::cerr << "relight: " << e.what() << "\n";
  return 2;
}
