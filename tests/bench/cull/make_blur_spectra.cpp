// Makes pictures of known blur from sharp photographs and made textures and keeps their spectra for fitting.
//   make_blur_spectra OUT COUNT SEED MADE_SHARE LIST
// LIST: lines "photograph least_reduction"; a photograph is made smaller by that factor or more, so that it
// is limited by its pixels.
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <opencv2/imgcodecs.hpp>

#include "labelled_spectrum.h"

namespace {

using namespace lookdown;

struct Photograph {
  cv::Mat picture;
  double least_reduction = 1;
};

std::vector<Photograph> read_list(const char* path) {
  std::vector<Photograph> out;
  std::ifstream list(path);
  std::string file;
  double reduction = 1;
  while (list >> file >> reduction) {
    out.push_back({cv::imread(file), reduction});
    if (out.back().picture.empty()) std::cerr << file << ": cannot be read\n";
  }
  return out;
}

double share(std::mt19937& random) {
  return std::uniform_real_distribution<double>(0, 1)(random);
}

cv::Mat sharp_source(const std::vector<Photograph>& photographs, double made_share, std::mt19937& random,
                     int& source) {
  const double large = share(random);
  cv::Size size(large < 0.4 ? 640 : large < 0.6 ? 448 : large < 0.9 ? 900 : 1200, 0);
  size.height = size.width * 2 / 3;
  if (share(random) < made_share || photographs.empty()) {
    source = -1;
    return bench::made_texture(size, random);
  }
  source = std::uniform_int_distribution<int>(0, static_cast<int>(photographs.size()) - 1)(random);
  const Photograph& from = photographs[source];
  const double widest =
      std::min(from.picture.cols / from.least_reduction, from.picture.rows / from.least_reduction * 1.5) - 2;
  if (widest < size.width) size = cv::Size(static_cast<int>(widest), static_cast<int>(widest * 2 / 3));
  if (size.height < 2 * cull::kSpectralTile) return {};
  return bench::part_of_photograph(from.picture, from.least_reduction, size, random);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 6) {
    std::cerr << "make_blur_spectra OUT COUNT SEED MADE_SHARE LIST\n";
    return 2;
  }
  const int count = std::atoi(argv[2]);
  std::mt19937 random(static_cast<unsigned>(std::atoi(argv[3])));
  const double made_share = std::atof(argv[4]);
  const std::vector<Photograph> photographs = read_list(argv[5]);
  cv::setNumThreads(1);
  int done = 0;
  while (done < count) {
    int source = -1;
    const cv::Mat sharp = sharp_source(photographs, made_share, random, source);
    if (sharp.empty()) continue;
    for (int again = 0; again < 4; ++again) {
      const bench::BlurRecipe recipe = bench::random_recipe(random);
      for (const auto& spectrum :
           bench::labelled_spectrum(bench::take_picture(sharp, recipe, random), source, recipe))
        bench::append_to_file(argv[1], spectrum), ++done;
    }
    if (done % 200 < 4) std::cerr << done << '\n';
  }
  return 0;
}
