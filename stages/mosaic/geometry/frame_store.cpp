#include "stages/mosaic/geometry/frame_store.h"

#include <tbb/task_arena.h>

namespace lookdown::mosaic {

FrameStore::Picture FrameStore::bgr(int frame_index, int reduction) {
  const FrameSource& source = flight_.frames[frame_index].source;
  const bool deep = depth_ == CV_16U;
  const std::int64_t bytes = (deep ? 6LL : 3LL) * reduced_length(source.width_px, reduction) *
                             reduced_length(source.height_px, reduction);
  return kept({frame_index, reduction}, bytes, [&]() -> Picture {
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
  return kept({frame_index, 0}, size.area(), [&]() -> Picture {
    auto mask = reader_.grey(out_ / frame.glare->mask_file);
    if (!mask || mask->size() != size) return nullptr;
    return std::make_shared<const cv::Mat>(std::move(*mask));
  });
}

FrameStore::Picture FrameStore::kept(const Key& key, std::int64_t bytes,
                                     const std::function<Picture()>& read) {
  std::promise<Picture> promise;
  {
    std::unique_lock lock(guard_);
    if (const auto found = entries_.find(key); found != entries_.end()) {
      by_use_.splice(by_use_.begin(), by_use_, found->second.use);
      const std::shared_future<Picture> picture = found->second.picture;
      lock.unlock();
      return picture.get();
    }
    make_room(bytes);
    by_use_.push_front(key);
    entries_[key] = {promise.get_future().share(), bytes, by_use_.begin()};
    held_bytes_ += bytes;
  }
  // Decoding happens outside the lock; others who want the same frame wait on the future.
  try {
    // Whoever waits blocks its thread: the producer must not pick up other tiles' work meanwhile, which could
    // wait for this very picture.
    Picture picture;
    tbb::this_task_arena::isolate([&] { picture = read(); });
    promise.set_value(picture);
    return picture;
  } catch (...) {
    promise.set_exception(std::current_exception());
    throw;
  }
}

void FrameStore::make_room(std::int64_t bytes) {
  while (!by_use_.empty() && held_bytes_ + bytes > budget_bytes_) {
    const auto oldest = entries_.find(by_use_.back());
    held_bytes_ -= oldest->second.bytes;
    entries_.erase(oldest);
    by_use_.pop_back();
  }
}

}  // namespace lookdown::mosaic
