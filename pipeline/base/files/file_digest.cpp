#include "pipeline/base/files/file_digest.h"

#include <fmt/format.h>
#include <xxhash.h>

#include <fstream>
#include <memory>
#include <vector>

namespace lookdown {

std::string digest_of_file(const std::filesystem::path& file) {
  struct Frees {
    void operator()(XXH3_state_t* state) const { XXH3_freeState(state); }
  };
  const std::unique_ptr<XXH3_state_t, Frees> state(XXH3_createState());
  XXH3_128bits_reset(state.get());
  std::ifstream stream(file, std::ios::binary);
  std::vector<char> piece(1 << 20);
  while (stream) {
    stream.read(piece.data(), static_cast<std::streamsize>(piece.size()));
    XXH3_128bits_update(state.get(), piece.data(), static_cast<std::size_t>(stream.gcount()));
  }
  const XXH128_hash_t hash = XXH3_128bits_digest(state.get());
  return fmt::format("{:016x}{:016x}", hash.high64, hash.low64);
}

}  // namespace lookdown
