#include "program_run.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <thread>

namespace lookdown {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void become_lookdown(const std::vector<std::string>& arguments, const fs::path& output,
                                  const fs::path& errors, const RunConditions& conditions) {
  const int out = ::open(output.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  const int err = ::open(errors.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  ::dup2(out, STDOUT_FILENO);
  ::dup2(err, STDERR_FILENO);
  constexpr unsigned kNobody = 65534;
  if (conditions.run_as == RunAs::ordinary_user && ::geteuid() == 0 &&
      (::setgid(kNobody) != 0 || ::setuid(kNobody) != 0))
    ::_exit(126);
  if (conditions.largest_file_bytes) {
    const rlimit limit{*conditions.largest_file_bytes, *conditions.largest_file_bytes};
    ::signal(SIGXFSZ, SIG_IGN);  // the write then fails as on a full disk
    ::setrlimit(RLIMIT_FSIZE, &limit);
  }
  std::vector<std::string> words = conditions.started_by;
  words.emplace_back(LOOKDOWN_BINARY_DIR "/lookdown");
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> argv;
  for (std::string& word : words) argv.push_back(word.data());
  argv.push_back(nullptr);
  ::execvp(argv.front(), argv.data());
  ::_exit(127);
}

// One cell after another; frames.csv quotes as RFC 4180 says.
std::vector<std::string> split_row(const std::string& row) {
  std::vector<std::string> cells{{}};
  bool quoted = false;
  for (std::size_t i = 0; i < row.size(); ++i) {
    const char c = row[i];
    if (c == '"' && quoted && i + 1 < row.size() && row[i + 1] == '"') {
      cells.back() += c;
      ++i;
    } else if (c == '"') {
      quoted = !quoted;
    } else if (c == ',' && !quoted) {
      cells.emplace_back();
    } else {
      cells.back() += c;
    }
  }
  return cells;
}

}  // namespace

std::string bytes_of(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

std::map<std::string, std::string> contents_of(const fs::path& folder) {
  std::map<std::string, std::string> contents;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    const std::string name = entry.path().lexically_relative(folder).string();
    if (entry.is_regular_file() && !name.starts_with(".cache") && name != ".lock")
      contents[name] = bytes_of(entry.path());
  }
  return contents;
}

ProgramRun run_lookdown(const std::vector<std::string>& arguments, RunAs run_as) {
  RunConditions conditions;
  conditions.run_as = run_as;
  return run_lookdown(arguments, conditions);
}

ProgramRun run_lookdown(const std::vector<std::string>& arguments, const RunConditions& conditions) {
  const TemporaryFolder folder;
  const fs::path output = folder.path() / "output", errors = folder.path() / "errors";
  const pid_t child = ::fork();
  if (child < 0) throw std::runtime_error("cannot start a process");
  if (child == 0) become_lookdown(arguments, output, errors, conditions);
  int status = 0;
  if (conditions.killed_after) {
    std::this_thread::sleep_for(*conditions.killed_after);
    ::kill(child, conditions.killed_by);
  }
  ::waitpid(child, &status, 0);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), bytes_of(output),
          bytes_of(errors)};
}

std::map<std::string, std::map<std::string, std::string>> read_frames_table(const fs::path& file) {
  std::string text = bytes_of(file);
  std::map<std::string, std::map<std::string, std::string>> table;
  std::vector<std::string> head;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find("\r\n", at), text.size());
    const std::vector<std::string> cells = split_row(text.substr(at, end - at));
    if (head.empty())
      head = cells;
    else
      for (std::size_t i = 0; i < head.size() && i < cells.size(); ++i)
        table[cells.front()][head[i]] = cells[i];
    at = end + 2;
  }
  return table;
}

TemporaryFolder::TemporaryFolder() {
  static std::atomic<int> serial{0};
  path_ = fs::temp_directory_path() / fmt::format("lookdown_{}_{}", ::getpid(), serial++);
  fs::remove_all(path_);
  fs::create_directories(path_);
}

TemporaryFolder::~TemporaryFolder() {
  std::error_code ignored;
  fs::remove_all(path_, ignored);
}

}  // namespace lookdown
