// Stands in for raw_decode.cpp where LibRaw was not there when the program was built.
#include "pipeline/imaging/formats/raw_decode.h"

namespace lookdown {
namespace {

Fault not_built_in(const std::filesystem::path& path) {
  return {"inspect", path.filename().string(), "is a camera raw file, which this build cannot read",
          "use the camera's JPEG, or build with LibRaw"};
}

}  // namespace

bool raw_is_available() {
  return false;
}
Result<FrameHeader> raw_header(const std::filesystem::path& path) {
  return not_built_in(path);
}
Result<cv::Mat> raw_preview(const std::filesystem::path& path, bool, int) {
  return not_built_in(path);
}
Result<cv::Mat> develop_raw(const std::filesystem::path& path, int) {
  return not_built_in(path);
}

}  // namespace lookdown
