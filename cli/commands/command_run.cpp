#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"

namespace lookdown::cli {

Command run_command() {
  auto options = std::make_shared<FlightOptions>();
  Command command;
  command.name = "run";
  command.summary = "the whole way: from a flight's frames to the mosaic and the page";
  command.manual =
      "Reads every picture of the flight (folders are searched, nothing in them is changed), finds the sharp "
      "frames, horizons, tilts and glare, places the frames on the ground, joins them into mosaic.tif and "
      "writes report.html, frames.csv, placement.json and flight.json. Run again after a change, it does "
      "again only what the change touches.";
  command.example = "lookdown run /media/card/flight3 -o flight3";
  command.describe = [options](OptionVisitor& visitor) { describe(*options, visitor); };
  command.run = [options, describe_all = command.describe](const Invocation& invocation) {
    return run_session(invocation, *options, options_to_json(describe_all), Extent::report);
  };
  return command;
}

}  // namespace lookdown::cli
