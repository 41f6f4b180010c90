#include "pipeline/base/files/cache.h"

#include <fmt/core.h>
#include <xxhash.h>

#include <fstream>
#include <iterator>
#include <stdexcept>

#include "pipeline/base/files/atomic_file.h"

namespace lookdown {

namespace fs = std::filesystem;

std::string digest(std::string_view bytes) {
  const XXH128_hash_t hash = XXH3_128bits(bytes.data(), bytes.size());
  return fmt::format("{:016x}{:016x}", hash.high64, hash.low64);
}

std::string Cache::key(std::string_view stage_version, std::string_view content, std::string_view options) {
  // Lengths keep the parts apart: "ab" + "c" must not collide with "a" + "bc".
  return digest(fmt::format("{}:{}|{}:{}|{}:{}", stage_version.size(), stage_version, content.size(), content,
                            options.size(), options));
}

std::optional<std::string> Cache::find(const std::string& key) const {
  if (folder_.empty()) return std::nullopt;
  std::ifstream file(folder_ / key.substr(0, 2) / key, std::ios::binary);
  if (!file) return std::nullopt;
  std::string bytes((std::istreambuf_iterator<char>(file)), std::istreambuf_iterator<char>());
  // The last 32 characters are the digest of what stands before them: a damaged entry reads as absent.
  if (bytes.size() < 32) return std::nullopt;
  const std::string_view body(bytes.data(), bytes.size() - 32);
  if (digest(body) != std::string_view(bytes).substr(body.size())) return std::nullopt;
  bytes.resize(body.size());
  return bytes;
}

void Cache::keep(const std::string& key, std::string_view bytes) const {
  if (folder_.empty()) return;
  try {
    std::string sealed(bytes);
    sealed += digest(bytes);
    write_file(folder_ / key.substr(0, 2) / key, std::string_view(sealed), Durability::survives_kill);
  } catch (const WriteError&) {
    // Nothing is lost but time: the next run computes the entry again.
  }
}

}  // namespace lookdown
