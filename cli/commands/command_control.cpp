#include "cli/commands/command.h"
#include "cli/flight_session.h"
#include "stages/place/datum/control_marks.h"

namespace lookdown::cli {

Command control_command() {
  auto options = std::make_shared<FlightOptions>();
  const auto describe_own = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    place::describe(options->place, visitor);
  };
  return {
      "control",
      "marks of control points, predicted in every frame for a person to confirm",
      "Places the flight, predicts where each control point shows in every frame, refines the spots on the "
      "pixels and writes marks.csv and\n"
      "small crops to control/. Mark two or more points in one frame each first; look at the crops, delete "
      "wrong rows, and give the table\n"
      "back as the marks file.",
      true,
      describe_own,
      [options, describe_own](const Invocation& invocation) {
        if (options->place.marks_file.empty())
          throw WrongUse("control: give --marks-file with a mark or two of each point to start from");
        return run_session(invocation, *options, options_to_json(describe_own), Extent::place,
                           [&](FlightRecord& record, RunContext& context) {
                             const auto marks = place::propose_marks(record, options->place, context);
                             place::write_proposed_marks(marks, context);
                           });
      }};
}

}  // namespace lookdown::cli
