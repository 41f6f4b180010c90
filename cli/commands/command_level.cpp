#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"

namespace lookdown::cli {

Command level_command() {
  auto options = std::make_shared<FlightOptions>();
  options->levelled_copies = true;
  // Masks of glare are not what was asked for, and looking for them is most of the work.
  options->look_for_glare = false;
  Command command;
  command.name = "level";
  command.summary = "horizon, roll and tilt; levelled copies of the obliques";
  command.manual =
      "Finds the horizon and other signs of the vertical, writes roll, pitch and tilt to frames.csv and "
      "copies that are turned level to levelled/.";
  command.example = "lookdown level frames -o out --upright";
  command.describe = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    level::describe(options->level, visitor);
    level::describe(options->copies, visitor);
    describe_sun_marks(*options, visitor);
  };
  command.run = [options, describe_own = command.describe](const Invocation& invocation) {
    return run_session(invocation, *options, options_to_json(describe_own), Extent::measure);
  };
  return command;
}

}  // namespace lookdown::cli
