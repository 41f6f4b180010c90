/// @file
/// What a file that cannot be read is told with: one sentence about the file, one about what to do.
#pragma once

#include <filesystem>
#include <string>

#include "pipeline/base/result.h"

namespace lookdown {

/// `detail` goes on after the file's name; by default the card's copy is what helps.
inline Fault reading_fault(const std::filesystem::path& path, std::string detail,
                           std::string hint = "copy it again from the card") {
  return {"inspect", path.filename().string(), std::move(detail), std::move(hint)};
}

}  // namespace lookdown
