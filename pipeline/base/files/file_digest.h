#pragma once

#include <filesystem>
#include <string>

namespace lookdown {

/// `digest` of a file's bytes, read a piece at a time: a mosaic of gigabytes takes no memory. That of no
/// bytes when the file cannot be read.
[[nodiscard]] std::string digest_of_file(const std::filesystem::path& file);

}  // namespace lookdown
