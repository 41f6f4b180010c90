#include "cli/commands/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command inspect_command() {
  auto options = std::make_shared<FlightOptions>();
  const auto describe_own = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
  };
  return {"inspect",
          "what each file says about itself: size, time, exposure, camera model",
          "Writes frames.csv with size, time, camera, focal length and where it comes from, without decoding "
          "pictures.",
          true,
          describe_own,
          [options, describe_own](const Invocation& invocation) {
            return run_session(invocation, *options, options_to_json(describe_own), Extent::inspect);
          }};
}

}  // namespace lookdown::cli
