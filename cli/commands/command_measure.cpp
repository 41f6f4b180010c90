#include <fmt/core.h>

#include <filesystem>
#include <memory>

#include "cli/commands/command.h"
#include "pipeline/base/atomic_file.h"
#include "stages/measure/align.h"
#include "stages/measure/measure.h"
#include "stages/report/before_after/before_after.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;

constexpr int kProfileSpotsAcross = 40;

int measure_shapes(const measure::Options& options, const Invocation& invocation) {
  if (invocation.inputs.size() != 1) throw WrongUse("measure: give the output folder of one run");
  try {
    const std::vector<measure::Shape> shapes = measure::shapes_of(options);
    if (shapes.empty() && !options.gsd_profile)
      throw WrongUse("measure: nothing to measure; give --point, --line, --area, --shapes or --gsd-profile");
    const measure::Ground ground = measure::open_ground(invocation.inputs[0]);
    std::vector<measure::Measured> measured;
    for (const measure::Shape& shape : shapes)
      measured.push_back(measure::measure(shape, ground, options.coordinates == "px"));
    const auto profile = options.gsd_profile
                             ? measure::gsd_profile(invocation.inputs[0], ground, kProfileSpotsAcross)
                             : std::vector<measure::GsdSpot>{};
    if (invocation.json)
      fmt::print("{}", measure::json_of(measured, ground));
    else if (!invocation.quiet)
      fmt::print("{}{}", measure::text_of(measured, ground),
                 options.gsd_profile ? measure::text_of(profile, ground) : "");
    if (invocation.out.empty()) return kDone;
    if (!measured.empty())
      write_file(fs::path(invocation.out) / "measured.csv", measure::csv_of(measured, ground));
    if (options.gsd_profile)
      write_file(fs::path(invocation.out) / "gsd_profile.csv", measure::csv_of(profile));
    return kDone;
  } catch (const measure::InputError& error) {
    throw WrongUse(error.what());
  }
}

/// What the page of both days tells in figures.
std::vector<std::pair<std::string, std::string>> figures_of(const measure::Alignment& alignment) {
  return {{"Brought together by", alignment.from},
          {"Patches that agree", fmt::format("{} of {}", alignment.patches, alignment.patches_tried)},
          {"Disagreement of the patches",
           alignment.patches > 0 ? fmt::format("{:.2f} px of the first mosaic (RMSE)", alignment.rmse_px)
                                 : std::string("not known")},
          {"Later mosaic turned", fmt::format("{:.2f}\u00b0 counter-clockwise", alignment.turned_deg + 0.0)},
          {"and scaled by", fmt::format("{:.4f}", alignment.scaled_by)}};
}

std::string name_of_run(const std::string& folder) {
  const fs::path path = fs::path(folder).lexically_normal();
  return (path.has_filename() ? path : path.parent_path()).filename().string();
}

int align_mosaics(const Invocation& invocation) {
  if (invocation.inputs.size() != 2)
    throw WrongUse("align: give the output folders of two runs, the one to keep first");
  if (invocation.out.empty()) throw WrongUse("align: give -o, the folder for aligned.tif");
  try {
    const measure::Alignment alignment = measure::align(invocation.inputs[0], invocation.inputs[1]);
    measure::write_aligned(invocation.inputs[0], invocation.inputs[1], alignment,
                           fs::path(invocation.out) / "aligned.tif", invocation.threads);
    write_file(fs::path(invocation.out) / "alignment.json", measure::json_of(alignment));
    const fs::path out = invocation.out;
    report::write_before_after(
        {fs::path(invocation.inputs[0]) / "mosaic.tif", out / "aligned.tif",
         name_of_run(invocation.inputs[0]), name_of_run(invocation.inputs[1]), figures_of(alignment)},
        out / "before_after.html");
    if (invocation.json)
      fmt::print("{}", measure::json_of(alignment));
    else if (!invocation.quiet)
      fmt::print("{}Written: {} and before_after.html beside it\n", measure::text_of(alignment),
                 (fs::path(invocation.out) / "aligned.tif").string());
    return kDone;
  } catch (const measure::InputError& error) {
    throw WrongUse(error.what());
  }
}

}  // namespace

Command measure_command() {
  auto options = std::make_shared<measure::Options>();
  const auto describe_own = [options](OptionVisitor& visitor) { measure::describe(*options, visitor); };
  Command command{
      "measure",
      "positions, lengths and areas on a finished mosaic, with their uncertainty",
      "Reads OUT, the output folder of an earlier run, and measures points, lines and areas given as "
      "options, as a CSV table or as GeoJSON,\n"
      "in ground units or in mosaic pixels. With -o the results are also written as measured.csv.",
      false,
      describe_own,
      [options](const Invocation& invocation) { return measure_shapes(*options, invocation); }};
  command.takes = "output folder of an earlier run";
  return command;
}

Command align_command() {
  Command command{"align",
                  "bring a later mosaic of the same place into an earlier one's grid",
                  "Takes the output folders of two runs. The second mosaic is turned, scaled and shifted "
                  "onto the first and written to -o as aligned.tif,\n"
                  "pixel by pixel comparable with the first; alignment.json says how well they fit.",
                  false,
                  [](OptionVisitor&) {},
                  align_mosaics};
  command.takes = "output folders of two runs, the one to keep first";
  return command;
}

}  // namespace lookdown::cli
