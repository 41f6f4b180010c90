// The manual page, drawn from the command line itself.
#pragma once

#include <string>

namespace CLI {
class App;
}

namespace lookdown::cli {

/// Text for `man` (macros of man(7)), section 1.
std::string manual_page(const CLI::App& program);

}  // namespace lookdown::cli
