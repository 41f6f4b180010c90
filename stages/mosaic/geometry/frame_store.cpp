#include "stages/mosaic/geometry/frame_store.h"

namespace lookdown::mosaic {

FrameStore::Picture FrameStore::bgr(int frame_index, int reduction) {
  const FrameSource& source = flight_.frames[frame_index].source;
  const bool deep = depth_ == CV_16U;
  const std::int64_t bytes = (deep ? 6LL : 3LL) * reduced_length(source.width_px, reduction) *
                             reduced_length(source.height_px, reduction);
  return store_.get({frame_index, reduction}, bytes, [&]() -> Picture {
    auto picture = deep ? reader_.bgr_native(source.path, reduction) : reader_.bgr(source.path, reduction);
    if (!picture) throw FrameFault{picture.error()};
    if (picture->depth() != depth_) picture->convertTo(*picture, depth_, 257.0);  // 255 -> 65535
    return std::make_shared<const cv::Mat>(std::move(*picture));
  });
}

FrameStore::Picture FrameStore::glare_mask(int frame_index) {
  const FrameRecord& frame = flight_.frames[frame_index];
  if (!frame.glare || frame.glare->mask_file.empty()) return nullptr;
  const cv::Size size(frame.source.width_px, frame.source.height_px);
  return store_.get({frame_index, 0}, size.area(), [&]() -> Picture {
    auto mask = reader_.grey(out_ / frame.glare->mask_file);
    if (!mask || mask->size() != size) return nullptr;
    return std::make_shared<const cv::Mat>(std::move(*mask));
  });
}

}  // namespace lookdown::mosaic
