// Pictures that several threads ask for: each is made once as long as the memory allows, whichever asks
// first.
#pragma once

#include <cstdint>
#include <functional>
#include <future>
#include <list>
#include <map>
#include <memory>
#include <mutex>
#include <opencv2/core.hpp>
#include <utility>

namespace lookdown {

/// Keeps the pictures used last within `budget_bytes` (at least one). Safe for use from several threads.
class PictureStore {
 public:
  using Key = std::pair<int, int>;
  using Picture = std::shared_ptr<const cv::Mat>;

  explicit PictureStore(std::int64_t budget_bytes) : budget_bytes_(budget_bytes) {}

  /// The picture of `key`, of `make` when it is not held; others who want it meanwhile wait. `bytes` is what
  /// it will take. Throws what `make` throws, to all who wait.
  [[nodiscard]] Picture get(const Key& key, std::int64_t bytes, const std::function<Picture()>& make);

 private:
  struct Entry {
    std::shared_future<Picture> picture;
    std::int64_t bytes = 0;
    std::list<Key>::iterator use;
  };
  void make_room(std::int64_t bytes);

  std::int64_t budget_bytes_, held_bytes_ = 0;
  std::mutex guard_;
  std::map<Key, Entry> entries_;
  std::list<Key> by_use_;  // most recent first
};

}  // namespace lookdown
