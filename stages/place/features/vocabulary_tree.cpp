#include "stages/place/features/vocabulary_tree.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

namespace lookdown::place {
namespace {

constexpr int kBranches = 12;
constexpr int kLevels = 3;
constexpr std::size_t kSpotsForGrowing = 48'000;
constexpr std::size_t kSpotsOfFrame = 900;  ///< the most dependable; more add cost, not recall

using Row = std::array<float, kDescriptorBytes>;

int nearest(const std::vector<Row>& centres, int first, int count, const std::uint8_t* descriptor) {
  int best = first;
  float best_distance = 1e30F;
  for (int c = first; c < first + count; ++c) {
    float sum = 0;
    const Row& centre = centres[std::size_t(c)];
    for (std::size_t k = 0; k < kDescriptorBytes; ++k) {
      const float d = centre[k] - float(descriptor[k]);
      sum += d * d;
    }
    if (sum < best_distance) {
      best_distance = sum;
      best = c;
    }
  }
  return best;
}

/// A tree of centres: the children of node n are n * kBranches + 1 ... n * kBranches + kBranches (root 0 has
/// no centre).
class WordTree {
 public:
  explicit WordTree(const std::vector<const std::uint8_t*>& sample) {
    std::size_t nodes = 1, level = 1;
    for (int l = 0; l < kLevels; ++l) nodes += (level *= kBranches);
    centres_.resize(nodes);
    grown_.assign(nodes, 0);
    grow(0, sample, 0);
  }
  [[nodiscard]] int word(const std::uint8_t* descriptor) const {
    int node = 0;
    for (int l = 0; l < kLevels && grown_[std::size_t(node)] > 0; ++l)
      node = nearest(centres_, node * kBranches + 1, grown_[std::size_t(node)], descriptor);
    return node;
  }

 private:
  void grow(int node, const std::vector<const std::uint8_t*>& members, int level) {
    if (level == kLevels || members.size() < 4 * kBranches) return;
    const int first = node * kBranches + 1;
    // Evenly spaced members as first centres: deterministic and spread over the frames.
    for (int c = 0; c < kBranches; ++c) {
      const std::uint8_t* from = members[members.size() * (2 * std::size_t(c) + 1) / (2 * kBranches)];
      std::copy(from, from + kDescriptorBytes, centres_[std::size_t(first + c)].begin());
    }
    grown_[std::size_t(node)] = kBranches;
    std::vector<int> of(members.size());
    for (int pass = 0; pass < 5; ++pass) {
      tbb::parallel_for(std::size_t(0), members.size(),
                        [&](std::size_t i) { of[i] = nearest(centres_, first, kBranches, members[i]); });
      move_centres(first, members, of);
    }
    std::vector<std::vector<const std::uint8_t*>> parts(kBranches);
    for (std::size_t i = 0; i < members.size(); ++i) parts[std::size_t(of[i] - first)].push_back(members[i]);
    for (int c = 0; c < kBranches; ++c) grow(first + c, parts[std::size_t(c)], level + 1);
  }
  void move_centres(int first, const std::vector<const std::uint8_t*>& members, const std::vector<int>& of) {
    std::vector<Row> sums(kBranches, Row{});
    std::vector<int> counts(kBranches, 0);
    for (std::size_t i = 0; i < members.size(); ++i) {
      const std::size_t c = std::size_t(of[i] - first);
      ++counts[c];
      for (std::size_t k = 0; k < kDescriptorBytes; ++k) sums[c][k] += float(members[i][k]);
    }
    for (std::size_t c = 0; c < kBranches; ++c)
      if (counts[c] > 0)
        for (std::size_t k = 0; k < kDescriptorBytes; ++k)
          centres_[std::size_t(first) + c][k] = sums[c][k] / float(counts[c]);
  }
  std::vector<Row> centres_;
  std::vector<int> grown_;
};

WordTree grown_on(const std::vector<FrameFeatures>& frames) {
  std::size_t all = 0;
  for (const FrameFeatures& f : frames) all += std::min(f.size(), kSpotsOfFrame);
  const std::size_t step = std::max<std::size_t>(1, (all + kSpotsForGrowing - 1) / kSpotsForGrowing);
  std::vector<const std::uint8_t*> sample;
  std::size_t at = 0;
  for (const FrameFeatures& f : frames)
    for (std::size_t i = 0; i < std::min(f.size(), kSpotsOfFrame); ++i)
      if (at++ % step == 0) sample.push_back(f.descriptor(i));
  return WordTree(sample);
}

struct Posting {
  int frame = 0;
  float weight = 0;
};

}  // namespace

std::vector<std::vector<int>> look_alikes(const std::vector<FrameFeatures>& frames, int most) {
  const std::size_t count = frames.size();
  const WordTree tree = grown_on(frames);
  std::vector<std::map<int, int>> words(count);
  tbb::parallel_for(std::size_t(0), count, [&](std::size_t i) {
    for (std::size_t s = 0; s < std::min(frames[i].size(), kSpotsOfFrame); ++s)
      ++words[i][tree.word(frames[i].descriptor(s))];
  });
  std::map<int, std::vector<Posting>> lists;
  for (std::size_t i = 0; i < count; ++i)
    for (const auto& [word, times] : words[i]) lists[word].push_back({int(i), std::sqrt(float(times))});
  std::vector<float> length(count, 0);
  for (auto& [word, list] : lists) {
    const float rarity = std::log(float(count + 1) / float(list.size()));
    for (Posting& p : list) {
      p.weight *= rarity;
      length[std::size_t(p.frame)] += p.weight * p.weight;
    }
  }
  std::vector<std::vector<int>> result(count);
  tbb::parallel_for(std::size_t(0), count, [&](std::size_t i) {
    std::vector<float> score(count, 0);
    for (const auto& [word, times] : words[i]) {
      const std::vector<Posting>& list = lists.at(word);
      const float rarity = std::log(float(count + 1) / float(list.size()));
      const float own = rarity * std::sqrt(float(times));
      for (const Posting& p : list) score[std::size_t(p.frame)] += own * p.weight;
    }
    for (std::size_t j = 0; j < count; ++j) score[j] /= std::sqrt(std::max(1e-6F, length[j]));
    std::vector<int> order;
    for (std::size_t j = 0; j < count; ++j)
      if (j != i && score[j] > 0) order.push_back(int(j));
    const std::size_t kept = std::min(order.size(), std::size_t(most));
    std::partial_sort(order.begin(), order.begin() + std::ptrdiff_t(kept), order.end(), [&](int a, int b) {
      return score[std::size_t(a)] != score[std::size_t(b)] ? score[std::size_t(a)] > score[std::size_t(b)]
                                                            : a < b;
    });
    order.resize(kept);
    result[i] = order;
  });
  return result;
}

}  // namespace lookdown::place
