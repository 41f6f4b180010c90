#include "cli/commands/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command mosaic_command() {
  auto options = std::make_shared<FlightOptions>();
  const auto describe_all = [options](OptionVisitor& visitor) { describe(*options, visitor); };
  return {"mosaic",
          "one straight-down picture of the flight, without the report",
          "Does what run does as far as mosaic.tif, mosaic_sources.tif and mosaic.jpg.",
          true,
          describe_all,
          [options, describe_all](const Invocation& invocation) {
            return run_session(invocation, *options, options_to_json(describe_all), Extent::mosaic);
          }};
}

}  // namespace lookdown::cli
