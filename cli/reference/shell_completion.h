// Completion of commands, options and their words for shells, drawn from the command line itself.
#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace lookdown::cli {

/// The words that an option is limited to; empty: anything.
std::vector<std::string> allowed_words(const CLI::Option&);
/// True for an option that takes no value.
bool is_switch(const CLI::Option&);

/// Text for the shell "bash", "zsh" or "fish".
std::string shell_completion(const CLI::App& program, const std::string& shell);

}  // namespace lookdown::cli
