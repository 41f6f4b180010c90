#include <algorithm>
#include <opencv2/core.hpp>

#include "pipeline/imaging/formats/jpeg_decode.h"
#include "pipeline/imaging/frame_reader.h"

namespace lookdown {
namespace {

using Copies = std::map<int, std::unique_ptr<cv::Mat>>;

const cv::Mat& keep(Copies& copies, int reduction, Result<cv::Mat> decoded) {
  if (!decoded) throw FrameFault{decoded.error()};
  return *(copies[reduction] = std::make_unique<cv::Mat>(std::move(*decoded)));
}

}  // namespace

FramePixels::FramePixels(const FrameReader& reader, const FrameSource& source, RawPixels raw_pixels)
    : reader_(reader), source_(source), raw_pixels_(raw_pixels) {}
FramePixels::~FramePixels() = default;

const cv::Mat& FramePixels::bgr(int reduction) {
  if (const auto found = bgr_.find(reduction); found != bgr_.end()) return *found->second;
  if (source_.format == "JPEG")
    return keep(bgr_, reduction, decode_jpeg(bytes(), false, reduction, source_.file));
  return keep(bgr_, reduction, reader_.bgr(source_.path, reduction, raw_pixels_));
}

const cv::Mat& FramePixels::grey(int reduction) {
  if (const auto found = grey_.find(reduction); found != grey_.end()) return *found->second;
  if (source_.format == "JPEG")
    return keep(grey_, reduction, decode_jpeg(bytes(), true, reduction, source_.file));
  return keep(grey_, reduction, reader_.grey(source_.path, reduction, raw_pixels_));
}

const std::vector<std::uint8_t>& FramePixels::bytes() {
  if (bytes_.empty()) {
    Result<std::vector<std::uint8_t>> file = reader_.bytes(source_.path);
    if (!file) throw FrameFault{file.error()};
    bytes_ = std::move(*file);
  }
  return bytes_;
}

int FramePixels::reduction_for(int long_side_px) const {
  const int long_side = std::max(source_.width_px, source_.height_px);
  for (const int reduction : {1, 2, 4})
    if (reduced_length(long_side, reduction) <= long_side_px) return reduction;
  return 8;
}

}  // namespace lookdown
