#include "pipeline/imaging/metadata/exiv2_lock.h"

#include <exiv2/bmffimage.hpp>
#include <exiv2/exiv2.hpp>

namespace lookdown {
namespace {

// Exiv2 asks for a lock of its own around its table of namespaces, and may ask again while it holds it.
void lock_namespaces(void* mutex, bool lock) {
  auto& namespaces = *static_cast<std::recursive_mutex*>(mutex);
  lock ? namespaces.lock() : namespaces.unlock();
}

}  // namespace

std::unique_lock<std::mutex> exiv2_lock() {
  static std::mutex one_at_a_time;
  static std::recursive_mutex namespaces;
  std::unique_lock held(one_at_a_time);
  static const bool started = [] {
    Exiv2::XmpParser::initialize(lock_namespaces, &namespaces);
    Exiv2::enableBMFF(true);  // HEIF, AVIF and the raw files built like them
    Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute);
    return true;
  }();
  static_cast<void>(started);
  return held;
}

}  // namespace lookdown
