// What a stage needs besides the record: where to write, how to read frames, the threads, the cache.
#pragma once

#include <filesystem>

#include "pipeline/cache.h"
#include "pipeline/frame_reader.h"
#include "pipeline/progress.h"
#include "pipeline/scheduler.h"

namespace lookdown {

struct RunContext {
  std::filesystem::path out;  ///< output folder
  const FrameReader& reader;
  const Scheduler& scheduler;
  const Cache& cache;
  Progress& progress;
};

}  // namespace lookdown
