// The least that any program does which finds features in each frame of a flight and shows each once: the
// floor that a whole run is measured against.
#pragma once

#include <filesystem>
#include <vector>

namespace lookdown::bench {

/// Decodes every frame once in colour, finds SIFT features at 1.5 megapixels, warps the frame once by Lanczos
/// at its own size and encodes it once (PNG, fast). On `threads` threads. Returns 0.
int least_work(const std::vector<std::filesystem::path>& frames, int threads);

}  // namespace lookdown::bench
