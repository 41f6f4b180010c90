#include "cli/commands/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command run_command() {
  auto options = std::make_shared<FlightOptions>();
  const auto describe_all = [options](OptionVisitor& visitor) { describe(*options, visitor); };
  return {"run",
          "the whole way: from a flight's frames to the mosaic and the report",
          "Reads every picture of the flight (folders are searched, nothing in them is changed), finds the "
          "sharp frames, horizons, tilts and\n"
          "glare, places the frames on one ground plane, joins them into mosaic.tif and writes report.html, "
          "frames.csv, placement.json and\n"
          "flight.json. Run again after a change, it does again only what the change touches.",
          true,
          describe_all,
          [options, describe_all](const Invocation& invocation) {
            return run_session(invocation, *options, options_to_json(describe_all), Extent::report);
          }};
}

}  // namespace lookdown::cli
