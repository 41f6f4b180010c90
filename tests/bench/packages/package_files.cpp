#include "tests/bench/packages/package_files.h"

#include <stdexcept>

namespace lookdown::bench {
namespace {

namespace fs = std::filesystem;

fs::path place_of(const std::string& listed, const PackageFolders& folders) {
  const std::string npm = "npm/", sample = "sample_frames/";
  if (listed.starts_with(npm)) return folders.node_modules / listed.substr(npm.size());
  if (listed.starts_with(sample)) return folders.sample_frames / listed.substr(sample.size());
  for (const auto& root : folders.roots)
    if (fs::path place = root / listed.substr(1); fs::exists(place)) return place;
  return {};
}

}  // namespace

fs::path package_file(const std::string& listed, const PackageFolders& folders) {
  fs::path place = place_of(listed, folders);
  if (!fs::exists(place)) throw std::runtime_error(listed + ": missing; install the package that carries it");
  return place;
}

}  // namespace lookdown::bench
