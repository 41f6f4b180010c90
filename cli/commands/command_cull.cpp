#include "cli/commands/command.h"
#include "cli/flight_session.h"

namespace lookdown::cli {

Command cull_command() {
  auto options = std::make_shared<FlightOptions>();
  options->look_for_horizon = options->look_for_glare = false;
  const auto describe_own = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    cull::describe(options->cull, visitor);
    visitor.option({"horizon",
                    "also find the horizon and other signs of the vertical: roll, pitch and tilt (several "
                    "times the work)"},
                   options->look_for_horizon);
    visitor.option(
        {"glare", "also find glare on water, which max-glare-share is held against (several times the work)"},
        options->look_for_glare);
    visitor.option(
        {"choices", "table of a person's verdicts (columns file, verdict), which beat the program's"},
        options->choices_file);
  };
  return {"cull",
          "which frames are sharp, and why the others are not",
          "Measures blur, smear and exposure of every frame, sees at a glance which show the horizon, and "
          "writes the verdicts keep, unsure or drop with\n"
          "their reasons to frames.csv.",
          true,
          describe_own,
          [options, describe_own](const Invocation& invocation) {
            const std::string asked = options_to_json(describe_own);
            if (options->cull.cover == 0) return run_session(invocation, *options, asked, Extent::measure);
            // Which frames see the same ground is known once they are placed, and placing wants to know how
            // they hung and where glare is.
            options->look_for_horizon = options->look_for_glare = true;
            return run_session(invocation, *options, asked, Extent::place);
          }};
}

}  // namespace lookdown::cli
