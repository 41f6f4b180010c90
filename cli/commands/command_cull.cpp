#include "cli/commands/command.h"
#include "cli/flights/flight_session.h"
#include "stages/report/report.h"

namespace lookdown::cli {
namespace {

struct CullOptions {
  FlightOptions flight;
  bool page = true;
  bool watch = false;
  double quiet_s = 60;
};

void describe(CullOptions& options, OptionVisitor& visitor) {
  FlightOptions& flight = options.flight;
  inspect::describe(flight.inspect, visitor);
  cull::describe(flight.cull, visitor);
  visitor.option({"horizon",
                  "also find the horizon and other signs of the vertical: roll, pitch and tilt (several "
                  "times the work)"},
                 flight.look_for_horizon);
  visitor.option(
      {"glare",
       "also find glare on water (several times the work); a --max-glare-share of your own asks for it too"},
      flight.look_for_glare);
  visitor.option(
      {"choices-file", "table of a person's verdicts (columns file, verdict), which beat the program's"},
      flight.choices_file);
  visitor.option({"page", "write report.html, the page to look at"}, options.page);
  visitor.option({"watch",
                  "go on reading while frames are being copied into the folder, until none comes for a while "
                  "or Ctrl-C"},
                 options.watch);
  visitor.option({"watch-quiet-s", "how long no frame may come before --watch ends", 1, 86400},
                 options.quiet_s);
  report::describe(flight.report, visitor);
}

}  // namespace

Command cull_command() {
  auto options = std::make_shared<CullOptions>();
  options->flight.look_for_horizon = options->flight.look_for_glare = false;
  Command command;
  command.name = "cull";
  command.summary = "which frames are sharp, and why the others are not: a page in seconds";
  command.manual =
      "Measures blur, smear and exposure of every frame, sees at a glance which show the horizon, and writes "
      "the verdicts keep, unsure or drop with their reasons to frames.csv and to report.html, the page to "
      "look at before you pack up.";
  command.example = "lookdown cull /media/card/flight3 -o flight3 --watch";
  command.describe = [options](OptionVisitor& visitor) { describe(*options, visitor); };
  command.run = [options, describe_own = command.describe](const Invocation& invocation) {
    FlightOptions& flight = options->flight;
    // Which frames see the same ground is known once they are placed, and placing wants to know how they
    // hung and where glare is.
    const bool placed = flight.cull.cover > 0;
    if (placed) flight.look_for_horizon = flight.look_for_glare = true;
    if (flight.cull.max_glare_share != cull::Options{}.max_glare_share) flight.look_for_glare = true;
    const auto page = [&](FlightRecord& record, RunContext& context) {
      if (options->page) report::write(record, flight.report, context);
    };
    return run_session(invocation, flight, options_to_json(describe_own),
                       placed ? Extent::place : Extent::measure, page,
                       options->watch ? std::optional<Watch>(Watch{options->quiet_s}) : std::nullopt);
  };
  return command;
}

}  // namespace lookdown::cli
