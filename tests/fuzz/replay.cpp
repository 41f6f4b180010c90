// For compilers without a fuzzer: runs a target over its seeds and over changes of them that are the same on
// every machine.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <vector>

#include "memory_file.h"

namespace {

using Bytes = std::vector<std::uint8_t>;

// One of the changes that find most: a bit flipped, a byte of consequence set, a part cut out, a part
// doubled.
void change(Bytes& bytes, std::mt19937& random) {
  const auto below = [&](std::size_t limit) {
    return std::uniform_int_distribution<std::size_t>(0, limit - 1)(random);
  };
  if (bytes.empty()) return bytes.push_back(static_cast<std::uint8_t>(below(256)));
  const std::size_t at = below(bytes.size()),
                    length = 1 + below(std::min<std::size_t>(bytes.size() - at, 64));
  const auto first = bytes.begin() + static_cast<std::ptrdiff_t>(at);
  constexpr std::uint8_t kTelling[] = {0, 1, 0x7f, 0x80, 0xff, '"', '\n', '{', '-', '9'};
  switch (below(4)) {
    case 0:
      bytes[at] ^= static_cast<std::uint8_t>(1U << below(8));
      break;
    case 1:
      bytes[at] = kTelling[below(std::size(kTelling))];
      break;
    case 2:
      bytes.erase(first, first + static_cast<std::ptrdiff_t>(length));
      break;
    default: {
      const Bytes part(first, first + static_cast<std::ptrdiff_t>(length));
      bytes.insert(bytes.begin() + static_cast<std::ptrdiff_t>(below(bytes.size())), part.begin(),
                   part.end());
    }
  }
}

}  // namespace

int main(int count, char** words) {
  if (count != 3) return std::fprintf(stderr, "usage: %s SEED_FOLDER CHANGES\n", words[0]), 2;
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(words[1])) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  if (files.empty()) return std::fprintf(stderr, "%s holds no seeds\n", words[1]), 1;
  std::mt19937 random(1);
  for (const auto& file : files) {
    std::ifstream stream(file, std::ios::binary);
    const Bytes seed{std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
    LLVMFuzzerTestOneInput(seed.data(), seed.size());
    for (int i = 0, changes = std::atoi(words[2]); i < changes; ++i) {
      Bytes bytes = seed;
      for (int step = 0; step <= i % 4; ++step) change(bytes, random);
      LLVMFuzzerTestOneInput(bytes.data(), bytes.size());
    }
  }
  std::printf("%zu seeds with %s changes each\n", files.size(), words[2]);
}
