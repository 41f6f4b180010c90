// Where the pictures lie that packages carry.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace lookdown::bench {

/// The files of packages lie below one of `roots` ("/" is the system itself), those of npm below
/// `node_modules`.
struct PackageFolders {
  std::vector<std::filesystem::path> roots = {"/"};
  std::filesystem::path node_modules;
  std::filesystem::path sample_frames = LOOKDOWN_SAMPLE_FRAMES;  ///< the repository's own
};

/// The file that a list of pictures calls /PATH, npm/PATH or sample_frames/PATH. Throws std::runtime_error
/// with its name where it is missing.
[[nodiscard]] std::filesystem::path package_file(const std::string& listed, const PackageFolders&);

}  // namespace lookdown::bench
