#include "cli/flights/many_flights.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <fmt/ranges.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <chrono>
#include <csignal>
#include <fstream>
#include <nlohmann/json.hpp>
#include <thread>

#include "cli/reference/shell_completion.h"
#include "pipeline/base/files/atomic_file.h"
#include "pipeline/base/files/csv.h"
#include "pipeline/base/scheduler.h"
#include "stages/inspect/inspect.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;
using namespace nlohmann::literals;

struct Flight {
  fs::path folder, out;
  bool has_pictures = true;
};

std::vector<Flight> flights_below(const std::string& parent, const std::string& out) {
  std::error_code error;
  if (!fs::is_directory(parent, error))
    throw WrongUse(parent + ": is no folder; --each takes the folder that holds the flights' folders");
  std::vector<Flight> flights;
  const fs::path results = fs::weakly_canonical(out);
  for (const fs::directory_entry& entry : fs::directory_iterator(parent)) {
    if (!entry.is_directory(error) || entry.path().filename().string().starts_with('.')) continue;
    if (fs::weakly_canonical(entry.path()) == results) continue;
    flights.push_back({fs::absolute(entry.path()).lexically_normal(),
                       fs::absolute(fs::path(out) / entry.path().filename()).lexically_normal(),
                       !inspect::picture_files({entry.path().string()}).empty()});
  }
  std::sort(flights.begin(), flights.end(),
            [](const Flight& a, const Flight& b) { return a.folder < b.folder; });
  if (std::none_of(flights.begin(), flights.end(), [](const Flight& flight) { return flight.has_pictures; }))
    throw WrongUse(parent + ": none of its folders holds a picture");
  return flights;
}

// Every option that was given, as one word each; what tells flights apart is left to the caller.
std::vector<std::string> given_options(const CLI::App& command) {
  std::vector<std::string> words;
  for (const CLI::Option* option : command.get_options()) {
    if (option->count() == 0 || option->get_positional()) continue;
    const std::string name = option->get_lnames().front();
    if (name == "each" || name == "list-commands" || name == "out") continue;
    const std::vector<std::string>& given = option->results();
    if (!is_switch(*option))
      words.push_back(fmt::format("--{}={}", name, fmt::join(given, ",")));
    else
      words.push_back((given.back() == "false" ? "--no-" : "--") + name);
  }
  return words;
}

// The same for every flight: the program by its full name, and names of files as seen from where we are.
std::vector<std::string> words_for(const Flight& flight, const CLI::App& command) {
  std::vector<std::string> words{fs::read_symlink("/proc/self/exe").string(), "run", flight.folder.string(),
                                 "--out=" + flight.out.string()};
  const std::vector<std::string> options = given_options(command);
  words.insert(words.end(), options.begin(), options.end());
  return words;
}

std::string last_line(const fs::path& log) {
  std::ifstream stream(log);
  std::string last;
  for (std::string line; std::getline(stream, line);)
    if (!line.empty()) last = line;
  return last;
}

// Runs the words to their end with everything that they say in the log; returns the exit code, or 3 when it
// did not end by itself.
int run_to_end(std::vector<std::string> words, const fs::path& log) {
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, log.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0666);
  posix_spawn_file_actions_adddup2(&actions, STDOUT_FILENO, STDERR_FILENO);
  std::vector<char*> argv;
  argv.reserve(words.size() + 1);
  for (std::string& word : words) argv.push_back(word.data());
  argv.push_back(nullptr);
  pid_t child = 0;
  const int failed = ::posix_spawn(&child, argv[0], &actions, nullptr, argv.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  if (failed) return kFailed;
  int status = 0;
  bool told_to_stop = false;
  while (::waitpid(child, &status, WNOHANG) == 0) {
    if (stop_requested() && !told_to_stop)
      told_to_stop = ::kill(child, SIGTERM) == 0;  // it ends as it would by itself
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
  }
  return WIFEXITED(status) ? WEXITSTATUS(status) : static_cast<int>(kFailed);
}

void read_record(const fs::path& file, FlightOutcome& outcome) {
  std::ifstream stream(file);
  const nlohmann::json record = nlohmann::json::parse(stream, nullptr, false);
  if (!record.is_object() || !record.contains("frames")) return;
  outcome.frames = outcome.kept = outcome.placed = 0;
  for (const auto& frame : record["frames"]) {
    ++*outcome.frames;
    if (frame.value("/decision/verdict"_json_pointer, "") == "keep") ++*outcome.kept;
    if (frame.value("/placement/placed"_json_pointer, false)) ++*outcome.placed;
  }
  if (const auto gsd = record.value("/placement/gsd_m"_json_pointer, nlohmann::json()); gsd.is_number())
    outcome.gsd_m = gsd.get<double>();
}

FlightOutcome run_flight_apart(const Flight& flight, const CLI::App& command) {
  FlightOutcome outcome;
  outcome.name = flight.folder.filename().string();
  outcome.has_pictures = flight.has_pictures;
  if (!flight.has_pictures) {
    outcome.exit_code = kNothingUsable;
    outcome.last_words = "no pictures in this folder";
    return outcome;
  }
  std::error_code error;
  fs::create_directories(flight.out, error);
  if (error) {
    outcome.last_words = "its output folder cannot be made: " + error.message();
    return outcome;
  }
  const fs::path log = flight.out / "run.log";
  const auto started = std::chrono::steady_clock::now();
  outcome.exit_code = run_to_end(words_for(flight, command), log);
  outcome.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
  if (outcome.exit_code == kDone) {
    read_record(flight.out / "flight.json", outcome);
  } else {
    outcome.last_words = last_line(log);
    if (outcome.last_words.empty()) outcome.last_words = "ended without a word; run it by itself to see why";
  }
  return outcome;
}

template <class T>
std::string or_empty(const std::optional<T>& value, const char* format = "{}") {
  return value ? fmt::format(fmt::runtime(format), *value) : "";
}

std::string flights_table(const std::vector<FlightOutcome>& outcomes) {
  std::string table = "flight,outcome,exit_code,frames,kept,placed,gsd_m,seconds,why\r\n";
  for (const FlightOutcome& o : outcomes)
    table += fmt::format("{},{},{},{},{},{},{},{:.1f},{}\r\n", csv_cell(o.name), outcome_word(o), o.exit_code,
                         or_empty(o.frames), or_empty(o.kept), or_empty(o.placed),
                         or_empty(o.gsd_m, "{:.5f}"), o.seconds, csv_cell(o.last_words));
  return table;
}

std::string line_of(const FlightOutcome& o) {
  const std::string what =
      o.frames ? fmt::format("{} frames, {} kept, {} placed", *o.frames, *o.kept, *o.placed) : o.last_words;
  return fmt::format("{:<24} {:<14} {:>7.1f} s  {}\n", o.name, outcome_word(o), o.seconds, what);
}

int overall(const std::vector<FlightOutcome>& outcomes) {
  int worst = kDone;
  for (const FlightOutcome& outcome : outcomes) {
    if (outcome.exit_code > kNothingUsable) return kFailed;
    if (outcome.has_pictures) worst = std::max(worst, outcome.exit_code);
  }
  return worst;
}

}  // namespace

const char* outcome_word(const FlightOutcome& outcome) {
  if (!outcome.has_pictures) return "no pictures";
  switch (outcome.exit_code) {
    case kDone:
      return "done";
    case kNothingUsable:
      return "nothing usable";
    case kWrongUse:
      return "wrong use";
    default:
      return "failed";
  }
}

std::string shell_quoted(const std::string& word) {
  const bool plain = !word.empty() && std::all_of(word.begin(), word.end(), [](unsigned char c) {
    return std::isalnum(c) || std::string("-_./=,:@%+").find(static_cast<char>(c)) != std::string::npos;
  });
  if (plain) return word;
  std::string quoted = "'";
  for (const char c : word) quoted += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return quoted + "'";
}

int run_many_flights(const Program& program) {
  const Invocation& invocation = program.invocation;
  if (invocation.inputs.size() != 1)
    throw WrongUse("run: --each takes one folder, which holds the flights' folders");
  const std::vector<Flight> flights = flights_below(invocation.inputs.front(), invocation.out);
  const CLI::App& command = *program.app.get_subcommand("run");
  if (invocation.list_commands) {
    for (const Flight& flight : flights) {
      if (!flight.has_pictures) continue;
      std::string line = "cd " + shell_quoted(fs::current_path().string()) + " &&";
      for (const std::string& word : words_for(flight, command)) line += " " + shell_quoted(word);
      fmt::print("{}\n", line);
    }
    return kDone;
  }
  std::vector<FlightOutcome> outcomes;
  for (const Flight& flight : flights) {
    outcomes.push_back(run_flight_apart(flight, command));
    if (!invocation.quiet) fmt::print("{}", line_of(outcomes.back()));
    std::fflush(stdout);
    write_file(fs::path(invocation.out) / "flights.csv", flights_table(outcomes));
    write_file(fs::path(invocation.out) / "index.html", index_page(outcomes));
    if (stop_requested()) throw Stopped();
  }
  if (!invocation.quiet) fmt::print("Written: {}\n", (fs::path(invocation.out) / "index.html").string());
  return overall(outcomes);
}

}  // namespace lookdown::cli
