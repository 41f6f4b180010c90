#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"

namespace lookdown::cli {

Command glare_command() {
  auto options = std::make_shared<FlightOptions>();
  Command command;
  command.name = "glare";
  command.summary = "where reflections hide the water";
  command.manual =
      "Finds water and the glint, glitter and sky reflection on it; writes masks/NAME_glare.png (255 = "
      "glare) "
      "and the shares to frames.csv. A mask tells where the bottom cannot be seen; it is no measurement of "
      "water quality.";
  command.example = "lookdown glare frames -o out --lat-deg 46.2 --lon-deg 7.1 --utc-offset-h 2";
  command.describe = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    glare::describe(options->glare, visitor);
  };
  command.run = [options, describe_own = command.describe](const Invocation& invocation) {
    return run_session(invocation, *options, options_to_json(describe_own), Extent::measure);
  };
  return command;
}

}  // namespace lookdown::cli
