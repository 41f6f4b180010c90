// The help of a command as a page of the terminal's width: options under headings, those for every day first.
#pragma once

#include <cstddef>
#include <string>

namespace CLI {
class App;
}

namespace lookdown::cli {

struct Command;

/// Columns of the terminal that standard output is, between 60 and 110; 79 when it is none.
std::size_t terminal_columns();

/// `text` broken at spaces into lines of at most `columns`, all but the first set in by `indent`; line breaks
/// in the text are kept. Ends without a line break.
std::string wrapped(const std::string& text, std::size_t columns, std::size_t indent);

/// `all`: also the options that are not for every day.
std::string help_page(const CLI::App&, const Command&, bool all, std::size_t columns);

}  // namespace lookdown::cli
