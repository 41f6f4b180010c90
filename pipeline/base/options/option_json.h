// Options as one flat JSON object, name -> value: for the run record, for cache keys and for running a record
// again.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "pipeline/base/options/option_table.h"

namespace lookdown {

/// A function that shows every option of some structs to a visitor.
using Describe = std::function<void(OptionVisitor&)>;

/// Every option with its value; one line of JSON with sorted keys. Unset optionals are null.
std::string options_to_json(const Describe& describe);

/// Sets options from such an object (or from another table read into JSON). Throws std::runtime_error for a
/// name that does not exist (naming the nearest one), a wrong type, or a value out of range; `origin` (a file
/// name) begins the message.
void options_from_json(const Describe& describe, const std::string& object, const std::string& origin);

/// The name among `known` with the smallest edit distance to `word`.
std::string nearest_name(const std::string& word, const std::vector<std::string>& known);

/// "1500M", "2G" or plain bytes. Throws std::runtime_error.
std::int64_t parse_memory(const std::string& text);

}  // namespace lookdown
