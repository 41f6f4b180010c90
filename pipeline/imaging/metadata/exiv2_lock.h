// The way to Exiv2: its XMP toolkit keeps global state (tables of namespaces, the number of starts), and
// reading a file's metadata reaches it.
#pragma once

#include <mutex>

namespace lookdown {

/// Starts the library at the first call. To be held while any of its calls runs.
[[nodiscard]] std::unique_lock<std::mutex> exiv2_lock();

}  // namespace lookdown
