#include "cli/commands/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command level_command() {
  auto options = std::make_shared<FlightOptions>();
  options->levelled_copies = true;
  options->look_for_glare = false;
  const auto describe_own = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    level::describe(options->level, visitor);
    level::describe(options->copies, visitor);
    describe_sun_marks(*options, visitor);
  };
  return {"level",
          "horizon, roll and tilt; levelled copies of the obliques",
          "Finds the horizon and other signs of the vertical, writes roll, pitch and tilt to frames.csv and "
          "copies that are turned level to\n"
          "levelled/.",
          true,
          describe_own,
          [options, describe_own](const Invocation& invocation) {
            return run_session(invocation, *options, options_to_json(describe_own), Extent::measure);
          }};
}

}  // namespace lookdown::cli
