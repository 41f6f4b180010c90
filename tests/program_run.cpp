#include "program_run.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace lookdown {
namespace {

namespace fs = std::filesystem;

std::string content(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

[[noreturn]] void become_lookdown(const std::vector<std::string>& arguments, const fs::path& output, const fs::path& errors,
                                  RunAs run_as) {
  const int out = ::open(output.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  const int err = ::open(errors.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  ::dup2(out, STDOUT_FILENO);
  ::dup2(err, STDERR_FILENO);
  constexpr unsigned kNobody = 65534;
  if (run_as == RunAs::ordinary_user && ::geteuid() == 0 && (::setgid(kNobody) != 0 || ::setuid(kNobody) != 0)) ::_exit(126);
  std::vector<char*> argv;
  std::string program = LOOKDOWN_BINARY_DIR "/lookdown";
  argv.push_back(program.data());
  std::vector<std::string> copies = arguments;
  for (std::string& argument : copies) argv.push_back(argument.data());
  argv.push_back(nullptr);
  ::execv(program.c_str(), argv.data());
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

ProgramRun run_lookdown(const std::vector<std::string>& arguments, RunAs run_as) {
  const TemporaryFolder folder;
  const fs::path output = folder.path() / "output", errors = folder.path() / "errors";
  const pid_t child = ::fork();
  if (child < 0) throw std::runtime_error("cannot start a process");
  if (child == 0) become_lookdown(arguments, output, errors, run_as);
  int status = 0;
  ::waitpid(child, &status, 0);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), content(output), content(errors)};
}

std::map<std::string, std::map<std::string, std::string>> read_frames_table(const fs::path& file) {
  std::string text = content(file);
  std::map<std::string, std::map<std::string, std::string>> table;
  std::vector<std::string> head;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find("\r\n", at), text.size());
    const std::vector<std::string> cells = split_row(text.substr(at, end - at));
    if (head.empty())
      head = cells;
    else
      for (std::size_t i = 0; i < head.size() && i < cells.size(); ++i) table[cells.front()][head[i]] = cells[i];
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
