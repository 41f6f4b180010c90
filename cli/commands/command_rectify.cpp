#include "cli/commands/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command rectify_command() {
  auto options = std::make_shared<FlightOptions>();
  options->rectified_copies = true;
  const auto describe_own = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    place::describe(options->place, visitor);
    rectify::describe(options->rectify, visitor);
  };
  return {"rectify",
          "oblique frames laid onto the ground plane",
          "Places the flight, then writes each placed oblique frame as a straight-down GeoTIFF with world "
          "file to rectified/, as far out as its\n"
          "ground resolution is worth showing. With a ground file only the frames that it names are written, "
          "each by its own marks, by the\n"
          "corners of a level rectangle, or by two families of level parallels (which need the camera's "
          "height for a scale).",
          true,
          describe_own,
          [options, describe_own](const Invocation& invocation) {
            const Extent extent = options->rectify.ground_file.empty() ? Extent::place : Extent::inspect;
            return run_session(invocation, *options, options_to_json(describe_own), extent);
          }};
}

}  // namespace lookdown::cli
