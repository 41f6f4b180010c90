// How far two frames are apart along their seam, kept from run to run: a seam that stays where it is need not
// be looked at again, nor the frames decoded for it.
#pragma once

#include <functional>
#include <map>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <utility>

#include "pipeline/base/files/cache.h"

namespace lookdown::mosaic {

/// Of one pair of views. For one thread.
class KeptTies {
 public:
  /// What two frames show apart at a place; empty: nothing clear.
  using Apart = std::optional<cv::Point2d>;

  /// `first`, `second`: digests of all that decides what the views show; `depth`: of the pixels compared.
  KeptTies(const Cache&, const std::string& first, const std::string& second, int depth);
  /// At a canvas pixel, as kept, else as measured now.
  [[nodiscard]] Apart at(cv::Point place, const std::function<Apart()>& measure);
  /// For later runs.
  void keep() const;

 private:
  const Cache& cache_;
  std::string key_;
  std::map<std::pair<int, int>, Apart> known_;
  bool any_new_ = false;
};

}  // namespace lookdown::mosaic
