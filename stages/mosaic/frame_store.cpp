#include "stages/mosaic/frame_store.h"

namespace lookdown::mosaic {

FrameStore::Picture FrameStore::bgr(int frame_index, int reduction) {
  const Key key{frame_index, reduction};
  const FrameSource& source = flight_.frames[frame_index].source;
  std::promise<Picture> promise;
  {
    std::unique_lock lock(guard_);
    if (const auto found = entries_.find(key); found != entries_.end()) {
      by_use_.splice(by_use_.begin(), by_use_, found->second.use);
      const std::shared_future<Picture> picture = found->second.picture;
      lock.unlock();
      return picture.get();
    }
    const std::int64_t bytes =
        3LL * reduced_length(source.width_px, reduction) * reduced_length(source.height_px, reduction);
    make_room(bytes);
    by_use_.push_front(key);
    entries_[key] = {promise.get_future().share(), bytes, by_use_.begin()};
    held_bytes_ += bytes;
    ++decodes_;
  }
  // Decoding happens outside the lock; others who want the same frame wait on the future.
  try {
    auto picture = reader_.bgr(source.path, reduction);
    if (!picture) throw FrameFault{picture.error()};
    auto shared = std::make_shared<const cv::Mat>(std::move(*picture));
    promise.set_value(shared);
    return shared;
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
