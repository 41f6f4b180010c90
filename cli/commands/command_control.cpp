#include <filesystem>

#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"

namespace lookdown::cli {
namespace {

// The proposals must not take the place of the marks that they come from.
void keep_marks_apart(const std::string& marks_file, const Invocation& invocation) {
  std::error_code error;
  const bool same =
      std::filesystem::equivalent(marks_file, std::filesystem::path(invocation.out) / "marks.csv", error);
  if (same && !error && !invocation.overwrite)
    throw WrongUse("control: " + marks_file +
                   " would be replaced by the proposals; write to another folder with -o, or give "
                   "--overwrite");
}

}  // namespace

Command control_command() {
  auto options = std::make_shared<FlightOptions>();
  Command command;
  command.name = "control";
  command.summary = "marks of control points, proposed in every frame for a person to confirm";
  command.manual =
      "Places the flight, predicts where each control point shows in every frame, refines the spots on the "
      "pixels and writes marks.csv and small crops to control/. Mark two or more points in one frame each "
      "first; look at the crops, delete wrong rows, and give the table back as the marks file.";
  command.example = "lookdown control frames -o proposed --control-file control.csv --marks-file marks.csv";
  command.describe = [options](OptionVisitor& visitor) {
    inspect::describe(options->inspect, visitor);
    place::describe(options->place, visitor);
  };
  command.run = [options, describe_own = command.describe](const Invocation& invocation) {
    if (options->place.marks_file.empty())
      throw WrongUse("control: give --marks-file with a mark or two of each point to start from");
    keep_marks_apart(options->place.marks_file, invocation);
    return run_session(invocation, *options, options_to_json(describe_own), Extent::place,
                       [&](FlightRecord& record, RunContext& context) {
                         const auto marks = place::propose_marks(record, options->place, context);
                         place::write_proposed_marks(marks, context);
                       });
  };
  return command;
}

}  // namespace lookdown::cli
