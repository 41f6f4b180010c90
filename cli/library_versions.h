// What the program is built on and runs with.
#pragma once

#include <string>

namespace lookdown::cli {

/// "lookdown 0.1.0", then a line with the name and version of each library in use.
std::string version_text();

}  // namespace lookdown::cli
