// What comparing two frames has given, remembered from run to run: when frames are added to a flight, only
// pairs with a new frame are compared again. A comparison depends on nothing but the two frames and the
// question, so a run that remembers ends with the same bytes as one that does not.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "pipeline/base/files/cache.h"
#include "stages/place/features/image_features.h"

namespace lookdown::place {

class PairMemory {
 public:
  /// Reads what earlier runs have left in the cache.
  PairMemory(const Cache&, const std::vector<TieFrame>&);

  /// `question`: all that the answer depends on besides the two frames. Empty when it was never asked; an
  /// empty tie when the frames share no ground. Safe from several threads.
  [[nodiscard]] std::optional<std::optional<Tie>> recall(int a, int b, std::string_view question) const;
  void learn(int a, int b, std::string_view question, const std::optional<Tie>& answer);
  /// Leaves in the cache what this run has asked.
  void keep() const;

 private:
  struct Answer {
    std::optional<Tie> tie;
    bool asked = false;  ///< in this run
  };
  [[nodiscard]] std::string key(int a, int b, std::string_view question) const;

  const Cache& cache_;
  std::vector<std::string> frame_words_;  ///< digest of spots and camera
  std::unordered_map<std::string, Answer> answers_;
};

}  // namespace lookdown::place
