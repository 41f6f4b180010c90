#include "cli/commands/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command glare_command() {
  auto options = std::make_shared<FlightOptions>();
  const auto describe_own = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    glare::describe(options->glare, visitor);
  };
  return {"glare",
          "where reflections hide the water",
          "Finds water and the glint, glitter and sky reflection on it; writes masks/NAME_glare.png (255 = "
          "glare) and the shares to frames.csv.\n"
          "A mask tells where the bottom cannot be seen; it is no measurement of water quality.",
          true,
          describe_own,
          [options, describe_own](const Invocation& invocation) {
            return run_session(invocation, *options, options_to_json(describe_own), Extent::measure);
          }};
}

}  // namespace lookdown::cli
