#pragma once

#include <string>

namespace lookdown::plan {

/// An exposure time as cameras write it: "1/250 s", "0.5 s"; "any" where it is not finite.
[[nodiscard]] std::string shutter_in_words(double seconds);

}  // namespace lookdown::plan
