#include "pipeline/base/files/atomic_file.h"

#include <fcntl.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstring>
#include <system_error>

namespace lookdown {
namespace {

namespace fs = std::filesystem;

// The mark in the middle lets remove_leftovers recognise what a killed run left behind; the extension stays
// last because image libraries choose their format by it.
constexpr const char* kUnfinishedMark = ".unfinished-";

[[noreturn]] void fail(const fs::path& path, const std::string& why) {
  throw WriteError(path.string() + ": could not be written: " + why +
                   "; check that the output folder exists, may be written to and has room");
}

fs::path unfinished_name(const fs::path& path) {
  static std::atomic<unsigned> serial{0};
  fs::path name = path.stem();
  name += kUnfinishedMark + std::to_string(::getpid()) + "-" + std::to_string(serial++);
  name += path.extension();
  return path.parent_path() / name;
}

void make_parent(const fs::path& path) {
  if (path.parent_path().empty()) return;
  std::error_code error;
  fs::create_directories(path.parent_path(), error);
  if (error) fail(path, error.message());
}

// The rename must not overtake the bytes: after a power cut the new name would hold an empty file.
bool flush_to_disk(const fs::path& path) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0) return false;
  const bool flushed = ::fsync(file) == 0;
  ::close(file);
  return flushed;
}

bool write_all(int file, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(file, bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return true;
}

}  // namespace

void write_file(const fs::path& path, std::string_view bytes, Durability durability) {
  make_parent(path);
  const fs::path unfinished = unfinished_name(path);
  const int file = ::open(unfinished.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
  if (file < 0) fail(path, std::strerror(errno));
  bool done = write_all(file, bytes);
  if (done && durability == Durability::survives_power_cut) done = ::fsync(file) == 0;
  const int write_error = errno;
  done = ::close(file) == 0 && done;
  std::error_code error;
  if (done) fs::rename(unfinished, path, error);
  if (!done || error) {
    std::error_code ignored;
    fs::remove(unfinished, ignored);
    fail(path, error ? error.message() : std::strerror(write_error));
  }
}

void write_file(const fs::path& path, const std::vector<std::uint8_t>& bytes, Durability durability) {
  write_file(path, std::string_view(reinterpret_cast<const char*>(bytes.data()), bytes.size()), durability);
}

void write_file(const fs::path& path, const std::function<bool(const fs::path&)>& write) {
  make_parent(path);
  const fs::path unfinished = unfinished_name(path);
  std::error_code error;
  try {
    if (!write(unfinished) || !flush_to_disk(unfinished))
      fail(path, "the disk may be full or the folder read-only");
    fs::rename(unfinished, path, error);
    if (error) fail(path, error.message());
  } catch (...) {
    fs::remove(unfinished, error);
    throw;
  }
}

void remove_leftovers(const fs::path& folder) {
  std::error_code error;
  for (auto entry =
           fs::recursive_directory_iterator(folder, fs::directory_options::skip_permission_denied, error);
       !error && entry != fs::recursive_directory_iterator(); entry.increment(error)) {
    if (entry->path().filename().string().find(kUnfinishedMark) == std::string::npos) continue;
    std::error_code ignored;
    if (entry->is_regular_file(ignored)) fs::remove(entry->path(), ignored);
  }
}

}  // namespace lookdown
