// One run over the sample flight for all tests of this program.
#pragma once

#include <filesystem>

#include "program_run.h"

namespace lookdown {

/// The folder of the sample frames.
[[nodiscard]] std::filesystem::path sample_frames();

struct SampleRun {
  TemporaryFolder folder;
  std::filesystem::path out = folder.path() / "out";
  ProgramRun run;
};

/// A whole run with control points and all marks, made at the first call.
[[nodiscard]] const SampleRun& sample_run();

}  // namespace lookdown
