#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"

namespace lookdown::cli {

Command inspect_command() {
  auto options = std::make_shared<FlightOptions>();
  Command command;
  command.name = "inspect";
  command.summary = "what each file says about itself: size, time, exposure, camera model";
  command.manual =
      "Writes frames.csv with size, time, camera, focal length and where it comes from, without decoding "
      "pictures and without judging them.";
  command.example = "lookdown inspect /media/card/flight3 -o flight3";
  command.describe = [options](OptionVisitor& visitor) { inspect::describe(options->inspect, visitor); };
  command.run = [options, describe_own = command.describe](const Invocation& invocation) {
    return run_session(invocation, *options, options_to_json(describe_own), Extent::inspect);
  };
  return command;
}

}  // namespace lookdown::cli
