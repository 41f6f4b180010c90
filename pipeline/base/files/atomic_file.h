// Outputs appear whole or not at all: written beside, then renamed.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace lookdown {

/// An output could not be written; ends the run with exit code 3. The message names the file and what to do.
struct WriteError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Whether the bytes must outlast a power cut before the file gets its name. What can be computed again need
/// not wait for the disk.
enum class Durability { survives_power_cut, survives_kill };

/// Writes `bytes` to `path` atomically, making its folder. Throws WriteError.
void write_file(const std::filesystem::path& path, std::string_view bytes,
                Durability durability = Durability::survives_power_cut);
void write_file(const std::filesystem::path& path, const std::vector<std::uint8_t>& bytes,
                Durability durability = Durability::survives_power_cut);

/// For libraries that write by path: `write` is given a temporary name beside `path` (same extension) and
/// must create that file; it is renamed to `path` when `write` returns true. False or an exception removes
/// it; false throws WriteError.
void write_file(const std::filesystem::path& path,
                const std::function<bool(const std::filesystem::path&)>& write);

/// Removes temporary files that a killed run left in `folder` (recursively).
void remove_leftovers(const std::filesystem::path& folder);

}  // namespace lookdown
