// Under which heading an option stands in the help, and whether it is one for every day.
#pragma once

#include <string>
#include <vector>

namespace lookdown::cli {

struct Heading {
  std::string title;
  std::vector<std::string> everyday;  ///< names of options without dashes, in the order shown
  std::vector<std::string> further;   ///< shown by --help-all only
};

/// All headings in the order of the help. An option that none of them names stands under the last one.
const std::vector<Heading>& headings();

}  // namespace lookdown::cli
