// The sharp photographs of packages that blurred pictures are made of.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <random>
#include <string>
#include <vector>

#include "tests/bench/packages/package_files.h"

namespace lookdown::bench {

struct Photograph {
  std::string name;
  cv::Mat picture;  ///< CV_8UC3
  double least_reduction = 1;
};

/// Those of one part ("learn", "tune" or "score") of photographs.txt, in its order. Throws std::runtime_error
/// with the name of the first that is missing.
[[nodiscard]] std::vector<Photograph> read_photographs(const std::filesystem::path& list,
                                                       const std::string& part, const PackageFolders&);

/// A random part of a photograph at a random reduction, turned or mirrored: CV_32FC3, sRGB-coded 0..1.
[[nodiscard]] cv::Mat random_part(const Photograph&, std::mt19937& random);

}  // namespace lookdown::bench
