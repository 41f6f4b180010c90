// The option table as an options file.
#pragma once

#include <string>

#include "pipeline/base/options/option_json.h"

namespace lookdown::cli {

/// TOML with every option, its help as a comment above and its value as it stands; what is not set is
/// commented out. Read back by `read_options_file` it gives the same options.
std::string options_as_toml(const Describe& describe);

}  // namespace lookdown::cli
