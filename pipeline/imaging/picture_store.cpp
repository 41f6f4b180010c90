#include "pipeline/imaging/picture_store.h"

#include <tbb/task_arena.h>

namespace lookdown {

PictureStore::Picture PictureStore::get(const Key& key, std::int64_t bytes,
                                        const std::function<Picture()>& make) {
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
  // Made outside the lock; others who want the same picture wait on the future.
  try {
    // Whoever waits blocks its thread: the producer must not pick up other tasks meanwhile, which could wait
    // for this very picture.
    Picture picture;
    tbb::this_task_arena::isolate([&] { picture = make(); });
    promise.set_value(picture);
    return picture;
  } catch (...) {
    promise.set_exception(std::current_exception());
    throw;
  }
}

void PictureStore::make_room(std::int64_t bytes) {
  while (!by_use_.empty() && held_bytes_ + bytes > budget_bytes_) {
    const auto oldest = entries_.find(by_use_.back());
    held_bytes_ -= oldest->second.bytes;
    entries_.erase(oldest);
    by_use_.pop_back();
  }
}

}  // namespace lookdown
