#include <fmt/core.h>

#include <filesystem>

#include "cli/commands/command.h"
#include "pipeline/base/atomic_file.h"
#include "stages/plan/plan.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;

int plan_flight(const plan::Options& options, const Invocation& invocation) {
  plan::Plan plan;
  try {
    plan = plan::make_plan(options);
  } catch (const std::invalid_argument& error) {
    throw WrongUse(error.what());
  }
  if (!invocation.quiet) fmt::print("{}", plan::text_of(plan));
  if (invocation.out.empty()) return kDone;
  const fs::path out = invocation.out;
  write_file(out / "plan.csv", plan::csv_of(plan));
  write_file(out / "plan.svg", plan::svg_of(plan));
  if (!invocation.quiet)
    fmt::print("\nWritten: {}, {}\n", (out / "plan.csv").string(), (out / "plan.svg").string());
  return kDone;
}

}  // namespace

Command plan_command() {
  auto options = std::make_shared<plan::Options>();
  const auto describe_own = [options](OptionVisitor& visitor) { plan::describe(*options, visitor); };
  return {"plan",
          "sun, glint, footprint, smear and spacing for the next flight",
          "Prints for a place and a day, by half hour, where the sun stands, whether its glint falls into a "
          "frame that looks straight down, and\n"
          "which way to turn or tilt to lose it; and for the lens the footprint, spacing, smear and depth of "
          "field. With -o the table is also\n"
          "written as plan.csv and drawn as plan.svg.",
          false,
          describe_own,
          [options](const Invocation& invocation) { return plan_flight(*options, invocation); }};
}

}  // namespace lookdown::cli
