// Stands in for heif_decode.cpp where libheif was not there when the program was built.
#include "pipeline/imaging/formats/heif_decode.h"

namespace lookdown {
namespace {

Fault not_built_in(const std::string& file) {
  return {"inspect", file, "is an HEIF or AVIF picture, which this build cannot read",
          "convert it to JPEG, or build with libheif"};
}

}  // namespace

Result<FrameHeader> heif_header(std::span<const std::uint8_t>, const std::string& file) {
  return not_built_in(file);
}
Result<cv::Mat> decode_heif(std::span<const std::uint8_t>, const std::string& file) {
  return not_built_in(file);
}

}  // namespace lookdown
