#include "cli/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command cull_command() {
  auto options = std::make_shared<FlightOptions>();
  const auto describe_own = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    cull::describe(options->cull, visitor);
    visitor.option({"blur-alone", "judge by blur and exposure alone, looking for no horizon and no glare: many times faster, the view stays empty"}, options->blur_alone);
    visitor.option({"choices", "table of a person's verdicts (columns file, verdict), which beat the program's"}, options->choices_file);
  };
  return {"cull", "which frames are sharp, and why the others are not",
          "Measures blur, smear and exposure of every frame and writes the verdicts keep, check or drop with their reasons to frames.csv.", true,
          describe_own, [options, describe_own](const Invocation& invocation) {
            // Which frames see the same ground is known once they are placed.
            const Extent extent = options->cull.cover > 0 ? Extent::place : Extent::measure;
            return run_session(invocation, *options, options_to_json(describe_own), extent);
          }};
}

}  // namespace lookdown::cli
