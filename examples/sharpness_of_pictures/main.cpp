// Prints how sharp each picture of a folder is: what a program of one's own looks like that uses the
// installed libraries.
#include <cstdio>

#include "pipeline/imaging/frame_reader.h"
#include "pipeline/record/run_context.h"
#include "stages/cull/cull.h"
#include "stages/inspect/inspect.h"

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "usage: sharpness_of_pictures FOLDER\n");
    return 2;
  }
  const lookdown::FrameReader reader;
  const lookdown::Scheduler scheduler({2, 1'000'000'000});
  const lookdown::Cache no_cache{std::filesystem::path()};
  lookdown::Progress quiet(false);
  lookdown::RunContext context{".", reader, scheduler, no_cache, quiet};
  const lookdown::FlightRecord flight =
      lookdown::inspect::inspect(lookdown::inspect::picture_files({argv[1]}), {}, context);
  for (const lookdown::FrameRecord& frame : flight.frames) {
    if (frame.fault) {
      std::printf("%s: %s\n", frame.source.file.c_str(), frame.fault->c_str());
      continue;
    }
    lookdown::FramePixels pixels(reader, frame.source);
    const lookdown::Sharpness found = lookdown::cull::measure(pixels);
    std::printf("%s: sharpness %.2f\n", frame.source.file.c_str(), found.sharpness.value_or(-1));
  }
}
