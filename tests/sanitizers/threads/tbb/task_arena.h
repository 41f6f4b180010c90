#pragma once

namespace tbb::this_task_arena {

/// A thread that waits here takes no other work: it never does, so that there is nothing to isolate.
template <class Work>
void isolate(const Work& work) {
  work();
}

}  // namespace tbb::this_task_arena
