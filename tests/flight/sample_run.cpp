#include "sample_run.h"

namespace lookdown {

namespace fs = std::filesystem;

fs::path sample_frames() {
  return fs::path(LOOKDOWN_SOURCE_DIR) / "sample_frames";
}

const SampleRun& sample_run() {
  static SampleRun sample;
  static const bool done = [] {
    const fs::path flight = sample_frames();
    sample.run =
        run_lookdown({"run", flight.string(), "-o", sample.out.string(), "--control-file",
                      (flight / "control.csv").string(), "--marks-file", (flight / "marks.csv").string()});
    return true;
  }();
  static_cast<void>(done);
  return sample;
}

}  // namespace lookdown
