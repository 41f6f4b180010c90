#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"

namespace lookdown::cli {

Command rectify_command() {
  auto options = std::make_shared<FlightOptions>();
  options->rectified_copies = true;
  Command command;
  command.name = "rectify";
  command.summary = "oblique frames laid onto the ground plane";
  command.manual =
      "Places the flight, then writes each oblique frame as a straight-down GeoTIFF with world file to "
      "rectified/, as far out as its ground resolution is worth showing. What cannot be placed needs the "
      "camera's height (--camera-height-m).\n"
      "With a ground file only the frames that it names are written, each by its own marks, by the corners "
      "of "
      "a level rectangle, or by two families of level parallels (which need the camera's height for a "
      "scale).";
  command.example = "lookdown rectify obliques -o out --camera-height-m 40";
  command.describe = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    place::describe(options->place, visitor);
    rectify::describe(options->rectify, visitor);
  };
  command.run = [options, describe_own = command.describe](const Invocation& invocation) {
    const Extent extent = options->rectify.ground_file.empty() ? Extent::place : Extent::inspect;
    return run_session(invocation, *options, options_to_json(describe_own), extent);
  };
  return command;
}

}  // namespace lookdown::cli
