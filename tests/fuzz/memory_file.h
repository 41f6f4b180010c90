// A file that lives in memory and has a path, for readers that take paths.
#pragma once

#include <sys/mman.h>
#include <unistd.h>

#include <cstddef>
#include <cstdint>
#include <string>

namespace lookdown {

class MemoryFile {
 public:
  MemoryFile(const std::uint8_t* bytes, std::size_t size) : descriptor_(::memfd_create("fuzz", MFD_CLOEXEC)) {
    while (size > 0) {
      const ssize_t written = ::write(descriptor_, bytes, size);
      if (written <= 0) break;
      bytes += written;
      size -= static_cast<std::size_t>(written);
    }
  }
  ~MemoryFile() { ::close(descriptor_); }
  MemoryFile(const MemoryFile&) = delete;
  MemoryFile& operator=(const MemoryFile&) = delete;
  [[nodiscard]] std::string path() const { return "/proc/self/fd/" + std::to_string(descriptor_); }

 private:
  int descriptor_;
};

}  // namespace lookdown

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size);
