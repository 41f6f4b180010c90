// What a stage needs besides the record: where to write, how to read frames, the threads, the cache.
#pragma once

#include <filesystem>

#include "pipeline/base/files/cache.h"
#include "pipeline/base/progress.h"
#include "pipeline/base/scheduler.h"
#include "pipeline/imaging/frame_reader.h"

namespace lookdown {

struct RunContext {
  std::filesystem::path out;  ///< output folder
  const FrameReader& reader;
  const Scheduler& scheduler;
  const Cache& cache;
  Progress& progress;
};

}  // namespace lookdown
