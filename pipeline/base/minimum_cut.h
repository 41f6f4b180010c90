// Minimum cut of a sparse graph between two terminals, by augmenting paths along two search trees that are
// kept from path to path: Boykov & Kolmogorov, "An experimental comparison of min-cut/max-flow algorithms for
// energy minimization in vision", IEEE TPAMI 26(9):1124-1137 (2004).
#pragma once

#include <cstdint>
#include <deque>
#include <vector>

namespace lookdown {

/// Build it with `add_...`, call `solve` once, then ask for sides. Capacities are not negative.
/// Deterministic.
class MinimumCut {
 public:
  explicit MinimumCut(int nodes, int expected_links = 0);
  /// Capacity from the source to the node and from the node to the sink; may be called repeatedly.
  void add_terminal(int node, double from_source, double to_sink);
  /// Capacity from `a` to `b` and back.
  void add_link(int a, int b, double forth, double back);
  /// Value of the cut.
  double solve();
  [[nodiscard]] bool on_source_side(int node) const { return nodes_[node].tree == Tree::source; }

 private:
  enum class Tree : std::uint8_t { none, source, sink };
  struct Arc {
    int to = 0;
    int next = -1;        // next arc out of the same node
    double capacity = 0;  // left
  };
  struct Node {
    int first_arc = -1;
    int parent_arc = kNoParent;  // arc from this node to its parent
    double terminal = 0;         // > 0: left from the source, < 0: left to the sink
    int distance = 0;            // to the terminal, as of `stamp`
    int stamp = 0;
    Tree tree = Tree::none;
    bool active = false;
  };
  static constexpr int kNoParent = -1, kTerminal = -2;

  void start_trees();
  void activate(int node);
  int grow(int node);  // arc from the source tree to the sink tree, or -1
  void augment(int middle_arc);
  double bottleneck(int middle_arc) const;
  void adopt();
  void find_parent(int node);
  int distance_to_terminal(int node);  // or a huge number when the chain is broken
  void set_free(int node);
  [[nodiscard]] double residual_towards(int arc, Tree tree) const;

  std::vector<Node> nodes_;
  std::vector<Arc> arcs_;  // the reverse of arc i is i ^ 1
  std::deque<int> active_;
  std::vector<int> orphans_;
  int stamp_ = 0;
  double flow_ = 0;
};

}  // namespace lookdown
