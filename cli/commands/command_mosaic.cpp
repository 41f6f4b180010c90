#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"

namespace lookdown::cli {

Command mosaic_command() {
  auto options = std::make_shared<FlightOptions>();
  Command command;
  command.name = "mosaic";
  command.summary = "one straight-down picture of the flight, without the page";
  command.manual =
      "Does what run does as far as mosaic.tif, its preview mosaic.jpg, the print sheet and the tables.";
  command.example = "lookdown mosaic frames -o out --scale-bar A,B,12.50 --marks-file marks.csv";
  command.describe = [options](OptionVisitor& visitor) { describe_without_page(*options, visitor); };
  command.run = [options, describe_own = command.describe](const Invocation& invocation) {
    return run_session(invocation, *options, options_to_json(describe_own), Extent::mosaic);
  };
  return command;
}

}  // namespace lookdown::cli
