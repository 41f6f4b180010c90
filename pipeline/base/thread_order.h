// Tells the thread sanitizer of an order that it cannot see: the packaged oneTBB is not built for it, so what
// one of its threads hands to another looks unordered. Nothing in other builds.
#pragma once

#ifdef __SANITIZE_THREAD__
extern "C" void __tsan_acquire(void*);
extern "C" void __tsan_release(void*);
#endif

namespace lookdown {

/// What this thread did until now comes before what follows `taken_over(place)` elsewhere.
inline void handed_over([[maybe_unused]] void* place) {
#ifdef __SANITIZE_THREAD__
  __tsan_release(place);
#endif
}

inline void taken_over([[maybe_unused]] void* place) {
#ifdef __SANITIZE_THREAD__
  __tsan_acquire(place);
#endif
}

}  // namespace lookdown
