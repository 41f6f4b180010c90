// Exif and XMP of a frame: defaults where it makes no sense, never an exception.
#include <cmath>
#include <cstdlib>

#include "memory_file.h"
#include "stages/inspect/camera_choice.h"
#include "stages/inspect/exif.h"

int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
  using namespace lookdown::inspect;
  const ExifTags tags = read_exif({bytes, size});
  if (tags.orientation < 1 || tags.orientation > 8) std::abort();
  const lookdown::Camera camera = choose_camera(tags, 1600, 1067, std::nullopt, {});
  if (!std::isfinite(camera.fx_px) || camera.fx_px <= 0) std::abort();
  return 0;
}
