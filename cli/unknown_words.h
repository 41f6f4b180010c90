// Misspelt commands and options, met with the nearest that there is.
#pragma once

#include <string>
#include <vector>

#include "cli/program.h"

namespace lookdown::cli {

/// One line about the first word that is no command or no option of its command, naming the nearest one that
/// is; empty when all are known. Values of options are not looked at.
std::string complaint_about_words(const Program&, const std::vector<std::string>& words);

}  // namespace lookdown::cli
