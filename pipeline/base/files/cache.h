// Results of expensive work, kept in OUT/.cache by content hash + options + stage version, so that a second
// run does again only what changed. A damaged or foreign entry reads as absent.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace lookdown {

/// XXH3-128 of bytes, 32 hexadecimal digits.
[[nodiscard]] std::string digest(std::string_view bytes);

class Cache {
 public:
  /// `folder` is made when the first entry is written; an empty path switches the cache off.
  explicit Cache(std::filesystem::path folder) : folder_(std::move(folder)) {}

  /// Key of a result: stage with its version ("cull/3"), what it was made from, and the options that matter.
  [[nodiscard]] static std::string key(std::string_view stage_version, std::string_view content,
                                       std::string_view options);
  [[nodiscard]] std::optional<std::string> find(const std::string& key) const;
  /// Atomic; failing to write is not an error of the run (the next run computes again).
  void keep(const std::string& key, std::string_view bytes) const;

 private:
  std::filesystem::path folder_;
};

}  // namespace lookdown
