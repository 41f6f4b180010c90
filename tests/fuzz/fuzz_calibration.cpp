// A calibration file: a camera that can be computed with, or an exception that says what is wrong.
#include <cmath>
#include <cstdlib>
#include <exception>

#include "memory_file.h"
#include "stages/inspect/camera_choice.h"

int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  const lookdown::MemoryFile file(bytes, size);
  try {
    const lookdown::Camera camera = lookdown::inspect::read_calibration(file.path());
    for (const double focal : {camera.fx_px, camera.fy_px})
      if (!std::isfinite(focal) || focal <= 0) std::abort();
    for (const double term :
         {camera.cx_px, camera.cy_px, camera.k1, camera.k2, camera.k3, camera.p1, camera.p2})
      if (!std::isfinite(term)) std::abort();
  } catch (const std::exception&) {
    return 0;
  }
  return 0;
}
