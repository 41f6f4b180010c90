#include "cli/flights/run_folder.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <string_view>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/record/record_json.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;

constexpr const char* kLockName = ".lock";

// What a run may write at the top of its folder; a name that ends in * stands for all that begin so.
constexpr std::array<std::string_view, 12> kResultNames{
    "frames.csv", "flight.json", "placement.json", "report.html", "least_glare.csv", "mosaic*",
    "surface*",   "masks",       "levelled",       "rectified",   "deglinted",       "kept"};

bool is_result_name(const std::string& name) {
  return std::any_of(kResultNames.begin(), kResultNames.end(), [&](std::string_view known) {
    return known.ends_with('*') ? name.starts_with(known.substr(0, known.size() - 1)) : name == known;
  });
}

std::string first_bytes(const fs::path& file, std::size_t count) {
  std::ifstream stream(file, std::ios::binary);
  std::string bytes(count, '\0');
  stream.read(bytes.data(), static_cast<std::streamsize>(count));
  bytes.resize(static_cast<std::size_t>(stream.gcount()));
  return bytes;
}

std::string first_line(const fs::path& file) {
  const std::string bytes = first_bytes(file, 4096);
  return bytes.substr(0, bytes.find_first_of("\r\n"));
}

// A run leaves its lock behind; a folder that was copied without hidden files still has its record.
bool is_run_folder(const fs::path& folder) {
  return fs::exists(folder / kLockName) || holds_a_run(folder);
}

[[noreturn]] void refuse(const fs::path& file) {
  throw WrongUse(file.string() +
                 ": was not written by this program and would be replaced; choose another folder with -o, or "
                 "give --overwrite");
}

}  // namespace

fs::path real_path(const fs::path& path) {
  std::error_code error;
  fs::path real = fs::weakly_canonical(path, error);
  if (error) real = path.lexically_normal();
  return real.has_filename() ? real : real.parent_path();
}

void check_run_folder(const Invocation& invocation) {
  const fs::path out = real_path(invocation.out);
  for (const std::string& input : invocation.inputs) {
    std::error_code error;
    const fs::path given = real_path(input);
    if (given == out || (fs::is_regular_file(given, error) && given.parent_path() == out))
      throw WrongUse(invocation.out +
                     ": the output folder must not be the folder of the frames; choose another with -o");
  }
  std::error_code error;
  if (invocation.overwrite || !fs::is_directory(out, error)) return;
  if (!is_run_folder(out))
    for (const fs::directory_entry& entry : fs::directory_iterator(out, error))
      if (is_result_name(entry.path().filename().string())) refuse(entry.path());
  // Tables are what people put there by hand.
  const fs::path frames = out / "frames.csv", marks = out / "marks.csv";
  if (fs::exists(frames) && first_line(frames).find(",verdict") == std::string::npos) refuse(frames);
  if (invocation.command == "control" && fs::exists(marks) &&
      first_line(marks).find(",likeness") == std::string::npos)
    refuse(marks);
}

RunFolder::RunFolder(const fs::path& folder) : folder_(folder) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error)
    throw WriteError(folder.string() + ": the output folder cannot be made: " + error.message() +
                     "; choose another with -o");
  descriptor_ = ::open((folder / kLockName).c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  if (descriptor_ < 0)
    throw WriteError(folder.string() + ": the output folder may not be written to: " + std::strerror(errno) +
                     "; choose another with -o");
  if (::flock(descriptor_, LOCK_EX | LOCK_NB) != 0) {
    ::close(descriptor_);
    throw WriteError(
        folder.string() +
        ": another run is writing into this folder; wait for it to end or choose another with -o");
  }
  before_ = look();
}

// The lock goes with the process, however it ends.
RunFolder::~RunFolder() {
  ::close(descriptor_);
}

std::map<std::string, RunFolder::State> RunFolder::look() const {
  std::map<std::string, State> found;
  std::error_code error;
  for (auto entry = fs::recursive_directory_iterator(folder_, error);
       !error && entry != fs::recursive_directory_iterator(); entry.increment(error)) {
    if (entry->path().filename().string().starts_with('.')) {
      entry.disable_recursion_pending();
      continue;
    }
    struct stat status {};
    if (!entry->is_regular_file(error) || ::stat(entry->path().c_str(), &status) != 0) continue;
    found[entry->path().lexically_relative(folder_).generic_string()] = {
        entry->last_write_time(error), static_cast<std::uintmax_t>(status.st_size),
        static_cast<std::uint64_t>(status.st_ino)};
  }
  return found;
}

RunFolder::Files RunFolder::files(const std::vector<std::string>& known) const {
  Files files;
  for (const auto& found : look()) {
    const std::string& name = found.first;
    const State& state = found.second;
    const auto before = before_.find(name);
    const bool fresh = before == before_.end() || before->second != state;
    const bool ours = fresh || std::any_of(known.begin(), known.end(), [&](const std::string& beginning) {
                        return name.starts_with(beginning);
                      });
    (ours ? files.written : files.left).push_back(name);
  }
  return files;
}

void refuse_foreign_file(const fs::path& file, const std::string& begins, bool overwrite) {
  if (!overwrite && fs::exists(file) && !first_bytes(file, begins.size()).starts_with(begins)) refuse(file);
}

}  // namespace lookdown::cli
