#include "pipeline/base/minimum_cut.h"

#include <algorithm>
#include <limits>

namespace lookdown {
namespace {

constexpr int kFar = std::numeric_limits<int>::max();

}  // namespace

MinimumCut::MinimumCut(int nodes, int expected_links) : nodes_(nodes) {
  arcs_.reserve(2 * static_cast<std::size_t>(expected_links));
}

void MinimumCut::add_terminal(int node, double from_source, double to_sink) {
  // What both terminals can pass straight through the node flows at once.
  double& left = nodes_[node].terminal;
  if (left > 0)
    from_source += left;
  else
    to_sink -= left;
  flow_ += std::min(from_source, to_sink);
  left = from_source - to_sink;
}

void MinimumCut::add_link(int a, int b, double forth, double back) {
  arcs_.push_back({b, nodes_[a].first_arc, forth});
  nodes_[a].first_arc = static_cast<int>(arcs_.size()) - 1;
  arcs_.push_back({a, nodes_[b].first_arc, back});
  nodes_[b].first_arc = static_cast<int>(arcs_.size()) - 1;
}

// Capacity left on the way that flow takes through `arc`, which leads out of a node of `tree`: away from the
// source, or towards the sink.
double MinimumCut::residual_towards(int arc, Tree tree) const {
  return tree == Tree::source ? arcs_[arc].capacity : arcs_[arc ^ 1].capacity;
}

void MinimumCut::activate(int node) {
  if (nodes_[node].active) return;
  nodes_[node].active = true;
  active_.push_back(node);
}

void MinimumCut::start_trees() {
  for (std::size_t i = 0; i < nodes_.size(); ++i) {
    Node& node = nodes_[i];
    if (node.terminal == 0) continue;
    node.tree = node.terminal > 0 ? Tree::source : Tree::sink;
    node.parent_arc = kTerminal;
    node.distance = 1;
    activate(static_cast<int>(i));
  }
}

double MinimumCut::solve() {
  start_trees();
  while (!active_.empty()) {
    const int node = active_.front();
    if (nodes_[node].tree == Tree::none) {
      active_.pop_front();
      nodes_[node].active = false;
      continue;
    }
    const int middle = grow(node);
    if (middle < 0) {
      active_.pop_front();
      nodes_[node].active = false;
      continue;
    }
    // The node stays at the front: it may touch the other tree elsewhere.
    ++stamp_;
    augment(middle);
    adopt();
  }
  return flow_;
}

int MinimumCut::grow(int from) {
  for (int arc = nodes_[from].first_arc; arc >= 0; arc = arcs_[arc].next) {
    if (residual_towards(arc, nodes_[from].tree) <= 0) continue;
    Node& to = nodes_[arcs_[arc].to];
    if (to.tree == Tree::none) {
      to.tree = nodes_[from].tree;
      to.parent_arc = arc ^ 1;
      to.distance = nodes_[from].distance + 1;
      to.stamp = nodes_[from].stamp;
      activate(arcs_[arc].to);
    } else if (to.tree != nodes_[from].tree) {
      return nodes_[from].tree == Tree::source ? arc : (arc ^ 1);
    } else if (to.stamp <= nodes_[from].stamp && to.distance > nodes_[from].distance &&
               to.parent_arc != kTerminal) {
      to.parent_arc = arc ^ 1;  // a shorter way to the terminal
      to.distance = nodes_[from].distance + 1;
      to.stamp = nodes_[from].stamp;
    }
  }
  return -1;
}

double MinimumCut::bottleneck(int middle_arc) const {
  double least = arcs_[middle_arc].capacity;
  int node = arcs_[middle_arc ^ 1].to;
  while (nodes_[node].parent_arc != kTerminal) {
    least = std::min(least, arcs_[nodes_[node].parent_arc ^ 1].capacity);
    node = arcs_[nodes_[node].parent_arc].to;
  }
  least = std::min(least, nodes_[node].terminal);
  node = arcs_[middle_arc].to;
  while (nodes_[node].parent_arc != kTerminal) {
    least = std::min(least, arcs_[nodes_[node].parent_arc].capacity);
    node = arcs_[nodes_[node].parent_arc].to;
  }
  return std::min(least, -nodes_[node].terminal);
}

void MinimumCut::augment(int middle_arc) {
  const double amount = bottleneck(middle_arc);
  const auto push_along = [&](int arc) {
    arcs_[arc].capacity -= amount;
    arcs_[arc ^ 1].capacity += amount;
  };
  const auto orphan = [&](int node) {
    nodes_[node].parent_arc = kNoParent;
    orphans_.push_back(node);
  };
  push_along(middle_arc);
  int node = arcs_[middle_arc ^ 1].to;
  while (nodes_[node].parent_arc != kTerminal) {
    const int arc = nodes_[node].parent_arc;
    push_along(arc ^ 1);
    if (arcs_[arc ^ 1].capacity <= 0) orphan(node);
    node = arcs_[arc].to;
  }
  nodes_[node].terminal -= amount;
  if (nodes_[node].terminal <= 0) {
    nodes_[node].terminal = 0;
    orphan(node);
  }
  node = arcs_[middle_arc].to;
  while (nodes_[node].parent_arc != kTerminal) {
    const int arc = nodes_[node].parent_arc;
    push_along(arc);
    if (arcs_[arc].capacity <= 0) orphan(node);
    node = arcs_[arc].to;
  }
  nodes_[node].terminal += amount;
  if (nodes_[node].terminal >= 0) {
    nodes_[node].terminal = 0;
    orphan(node);
  }
  flow_ += amount;
}

void MinimumCut::adopt() {
  while (!orphans_.empty()) {
    const int node = orphans_.back();
    orphans_.pop_back();
    find_parent(node);
  }
}

int MinimumCut::distance_to_terminal(int node) {
  int steps = 0;
  for (int at = node;;) {
    const Node& here = nodes_[at];
    if (here.stamp == stamp_) {
      steps += here.distance;
      break;
    }
    if (here.parent_arc == kNoParent) return kFar;
    ++steps;
    if (here.parent_arc == kTerminal) break;
    at = arcs_[here.parent_arc].to;
  }
  // The chain is whole: its nodes remember, so that the next question is short.
  int left = steps;
  for (int at = node; nodes_[at].stamp != stamp_;) {
    nodes_[at].stamp = stamp_;
    nodes_[at].distance = left--;
    if (nodes_[at].parent_arc == kTerminal) break;
    at = arcs_[nodes_[at].parent_arc].to;
  }
  return steps;
}

void MinimumCut::find_parent(int node) {
  int best_arc = kNoParent, best_distance = kFar;
  for (int arc = nodes_[node].first_arc; arc >= 0; arc = arcs_[arc].next) {
    const int other = arcs_[arc].to;
    if (nodes_[other].tree != nodes_[node].tree || residual_towards(arc ^ 1, nodes_[node].tree) <= 0)
      continue;
    if (nodes_[other].parent_arc == kNoParent) continue;
    const int distance = distance_to_terminal(other);
    if (distance < best_distance) {
      best_distance = distance;
      best_arc = arc;
    }
  }
  if (best_arc == kNoParent) {
    set_free(node);
    return;
  }
  nodes_[node].parent_arc = best_arc;
  nodes_[node].distance = best_distance + 1;
  nodes_[node].stamp = stamp_;
}

void MinimumCut::set_free(int node) {
  for (int arc = nodes_[node].first_arc; arc >= 0; arc = arcs_[arc].next) {
    const int other = arcs_[arc].to;
    if (nodes_[other].tree != nodes_[node].tree) continue;
    if (residual_towards(arc ^ 1, nodes_[node].tree) > 0) activate(other);
    if (nodes_[other].parent_arc >= 0 && arcs_[nodes_[other].parent_arc].to == node) {
      nodes_[other].parent_arc = kNoParent;
      orphans_.push_back(other);
    }
  }
  nodes_[node].tree = Tree::none;
  nodes_[node].parent_arc = kNoParent;
}

}  // namespace lookdown
