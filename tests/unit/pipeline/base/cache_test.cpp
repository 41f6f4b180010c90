#include "pipeline/base/files/cache.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "pipeline/base/files/file_digest.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;

class CacheTest : public ::testing::Test {
 protected:
  CacheTest() { fs::remove_all(folder_); }
  ~CacheTest() override { fs::remove_all(folder_); }
  fs::path folder_ = fs::temp_directory_path() / ("lookdown_cache_" + std::to_string(::getpid()));
};

TEST_F(CacheTest, KeepsBytesUnderTheirKey) {
  const Cache cache(folder_);
  const std::string key = Cache::key("stage/1", "content", "options");
  EXPECT_FALSE(cache.find(key));
  cache.keep(key, std::string("a\0b", 3));
  EXPECT_EQ(cache.find(key), std::string("a\0b", 3));
}

TEST_F(CacheTest, AFilesDigestIsThatOfItsBytes) {
  fs::create_directories(folder_);
  for (const std::size_t size :
       {std::size_t{0}, std::size_t{1000}, std::size_t{1} << 20, (std::size_t{1} << 21) + 7}) {
    std::string bytes(size, '\0');
    for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<char>(i * 31 % 251);
    std::ofstream(folder_ / "some", std::ios::binary) << bytes;
    EXPECT_EQ(digest_of_file(folder_ / "some"), digest(bytes)) << size;
  }
}

TEST_F(CacheTest, KeysDependOnEveryPartAndItsLimits) {
  EXPECT_NE(Cache::key("ab", "c", "d"), Cache::key("a", "bc", "d"));
  EXPECT_NE(Cache::key("a", "b", "c"), Cache::key("a", "b", "d"));
  EXPECT_NE(Cache::key("a/1", "b", "c"), Cache::key("a/2", "b", "c"));
}

TEST_F(CacheTest, DamagedEntryReadsAsAbsent) {
  const Cache cache(folder_);
  const std::string key = Cache::key("s", "c", "o");
  cache.keep(key, "whole");
  std::ofstream(folder_ / key.substr(0, 2) / key, std::ios::binary) << "whol";
  EXPECT_FALSE(cache.find(key));
}

TEST_F(CacheTest, WithoutFolderNothingIsKept) {
  const Cache cache{fs::path()};
  cache.keep("k", "bytes");
  EXPECT_FALSE(cache.find("k"));
}

// XXH3-128 of the empty input with seed 0, as the xxHash specification's test vectors give it (from memory).
TEST(Digest, AgreesWithThePublishedVectorForNoInput) {
  EXPECT_EQ(digest(""), "99aa06d3014798d86001c324468d497f");
}

}  // namespace
}  // namespace lookdown
