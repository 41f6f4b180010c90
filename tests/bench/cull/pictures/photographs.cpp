#include "pictures/photographs.h"

#include <algorithm>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <sstream>
#include <stdexcept>

#include "pictures/blur_samples.h"

namespace lookdown::bench {
std::vector<Photograph> read_photographs(const std::filesystem::path& list, const std::string& part,
                                         const PackageFolders& folders) {
  std::vector<Photograph> out;
  std::ifstream file(list);
  if (!file) throw std::runtime_error(list.string() + ": cannot be read");
  for (std::string line; std::getline(file, line);) {
    std::istringstream cells(line);
    std::string its_part;
    Photograph one;
    if (line.starts_with('#') || !(cells >> its_part >> one.name >> one.least_reduction) || its_part != part)
      continue;
    one.picture = cv::imread(package_file(one.name, folders));
    if (one.picture.empty()) throw std::runtime_error(one.name + ": cannot be read");
    out.push_back(std::move(one));
  }
  return out;
}

cv::Mat random_part(const Photograph& from, std::mt19937& random) {
  constexpr double kAspect = 1.5;
  const double large = std::uniform_real_distribution<double>(0, 1)(random);
  const int asked = large < 0.5 ? 640 : large < 0.75 ? 448 : 900;
  const double widest =
      std::min(from.picture.cols / from.least_reduction, from.picture.rows / from.least_reduction * kAspect) -
      2;
  const int width = std::min(asked, static_cast<int>(widest));
  return part_of_photograph(from.picture, from.least_reduction, {width, static_cast<int>(width / kAspect)},
                            random);
}

}  // namespace lookdown::bench
