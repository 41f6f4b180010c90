#include <fmt/core.h>

#include <ctime>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "cli/commands/command.h"
#include "cli/flights/run_folder.h"
#include "pipeline/base/files/atomic_file.h"
#include "pipeline/record/record_json.h"
#include "stages/plan/plan.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;

std::string today() {
  const std::time_t now = std::time(nullptr);
  std::tm local{};
  ::localtime_r(&now, &local);
  return fmt::format("{:04}-{:02}-{:02}", local.tm_year + 1900, local.tm_mon + 1, local.tm_mday);
}

void learn(const std::string& folder, plan::Options& options) {
  const fs::path file = fs::path(folder) / "flight.json";
  std::ifstream stream(file);
  if (!stream)
    throw std::runtime_error("plan: --from " + folder +
                             ": no flight.json there; give the output folder of a run");
  try {
    const nlohmann::json record = nlohmann::json::parse(stream);
    options.advice = plan::learn_from(flight_record_from_json(record), options);
  } catch (const std::exception& error) {
    throw std::runtime_error("plan: " + file.string() + ": " + error.what());
  }
}

int plan_flight(plan::Options options, const Invocation& invocation) {
  if (options.date.empty()) options.date = today();
  plan::Plan plan;
  try {
    plan = plan::make_plan(options);
  } catch (const std::invalid_argument& error) {
    throw WrongUse(std::string("plan: ") + error.what());
  }
  if (!plan::has_place(options) && !invocation.out.empty())
    throw WrongUse("plan: -o: table and drawing are of the sun over one place; give --lat-deg and --lon-deg");
  if (!invocation.quiet) fmt::print("{}", plan::text_of(plan));
  if (invocation.out.empty()) return kDone;
  const fs::path out = invocation.out;
  refuse_foreign_file(out / "plan.csv", "time,utc_offset_h,", invocation.overwrite);
  write_file(out / "plan.csv", plan::csv_of(plan));
  write_file(out / "plan.svg", plan::svg_of(plan));
  if (!invocation.quiet)
    fmt::print("\nWritten: {}, {}\n", (out / "plan.csv").string(), (out / "plan.svg").string());
  return kDone;
}

}  // namespace

Command plan_command() {
  auto options = std::make_shared<plan::Options>();
  Command command;
  command.name = "plan";
  command.summary = "sun, glint, footprint, smear and spacing for the next flight";
  command.manual =
      "Prints for a place and a day, by half hour, where the sun stands, whether its glint falls into a "
      "frame "
      "that looks straight down, and which way to turn or tilt to lose it; and for the lens the footprint, "
      "spacing, smear and depth of field. With -o the table is also written as plan.csv and drawn as "
      "plan.svg.\n"
      "The best times stand first. With --from the camera, place, height, shutter and smear of an earlier "
      "run "
      "stand in for what is not given, and what that flight teaches is said.";
  command.example = "lookdown plan --lat-deg 46.2 --lon-deg 7.1 --utc-offset-h 2 --camera-height-m 40";
  command.takes = Takes::nothing;
  command.describe = [options](OptionVisitor& visitor) { plan::describe(*options, visitor); };
  command.starts_from_option = "from";
  command.start_from = [options](const std::string& folder) { learn(folder, *options); };
  command.run = [options](const Invocation& invocation) { return plan_flight(*options, invocation); };
  return command;
}

}  // namespace lookdown::cli
