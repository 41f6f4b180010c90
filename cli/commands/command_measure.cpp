#include <fmt/core.h>

#include <algorithm>
#include <filesystem>
#include <memory>

#include "cli/commands/command.h"
#include "cli/flights/run_folder.h"
#include "pipeline/base/files/atomic_file.h"
#include "stages/measure/measure.h"
#include "stages/report/before_after/before_after.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;

constexpr int kProfileSpotsAcross = 40;

/// Tables into the folder that was named, each said when it is there.
class Results {
 public:
  explicit Results(const Invocation& invocation) : invocation_(invocation) {}
  void write(const char* name, const char* begins, const std::string& text) const {
    const fs::path file = fs::path(invocation_.out) / name;
    refuse_foreign_file(file, begins, invocation_.overwrite);
    write_file(file, text);
    if (!invocation_.quiet && !invocation_.json) fmt::print("Written: {}\n", file.string());
  }

 private:
  const Invocation& invocation_;
};

// A spot that no pixel shows has no position to give.
void refuse_what_lies_outside(const std::vector<measure::Measured>& measured, const measure::Ground& ground) {
  for (const measure::Measured& shape : measured) {
    if (shape.on_mosaic) continue;
    const measure::Corner low = ground.ground_from_px({-0.5, ground.height_px - 0.5}),
                          high = ground.ground_from_px({ground.width_px - 0.5, -0.5});
    throw WrongUse(
        fmt::format("measure: {} reaches beyond the mosaic, which spans x {:.2f} to {:.2f}, y {:.2f} to "
                    "{:.2f} (pixels 0,0 "
                    "to {},{})",
                    shape.shape.name, low.x, high.x, std::min(low.y, high.y), std::max(low.y, high.y),
                    ground.width_px - 1, ground.height_px - 1));
  }
}

/// What the surface adds to lines and areas; nothing without one.
struct OnTheSurface {
  std::vector<measure::LineHeights> lines;
  std::vector<measure::Volume> volumes;
  std::string words;
};

OnTheSurface on_the_surface(const measure::Options& options, const std::vector<measure::Measured>& measured,
                            const std::string& out) {
  OnTheSurface found;
  if (!options.profile && !options.volume) return found;
  const auto heights = measure::open_heights(out);
  if (!heights)
    throw WrongUse(
        "measure: that run found no heights in metres (surface.tif), so there is no profile and no "
        "volume");
  for (const measure::Measured& each : measured) {
    if (options.profile && each.shape.kind == measure::Kind::line)
      if (auto line = measure::heights_along(each.shape, *heights)) found.lines.push_back(std::move(*line));
    if (options.volume && each.shape.kind == measure::Kind::area)
      if (auto volume = measure::volume_of(each.shape, *heights)) found.volumes.push_back(std::move(*volume));
  }
  found.words = measure::text_of(found.lines, found.volumes, *heights);
  return found;
}

int measure_shapes(const measure::Options& options, const Invocation& invocation) {
  if (invocation.inputs.size() != 1) throw WrongUse("measure: give the output folder of one run");
  try {
    const std::vector<measure::Shape> shapes = measure::shapes_of(options);
    if (shapes.empty() && !options.gsd_profile)
      throw WrongUse(
          "measure: nothing to measure; give --point, --line, --area, --shapes-file or --gsd-profile");
    const measure::Ground ground = measure::open_ground(invocation.inputs[0]);
    std::vector<measure::Measured> measured;
    measured.reserve(shapes.size());
    for (const measure::Shape& shape : shapes)
      measured.push_back(measure::measure(shape, ground, options.coordinates == "px"));
    refuse_what_lies_outside(measured, ground);
    const OnTheSurface surface = on_the_surface(options, measured, invocation.inputs[0]);
    const auto profile = options.gsd_profile
                             ? measure::gsd_profile(invocation.inputs[0], ground, kProfileSpotsAcross)
                             : std::vector<measure::GsdSpot>{};
    if (invocation.json)
      fmt::print("{}", measure::json_of(measured, ground));
    else if (!invocation.quiet)
      fmt::print("{}{}{}", measure::text_of(measured, ground), surface.words,
                 options.gsd_profile ? measure::text_of(profile, ground) : "");
    if (invocation.out.empty()) return kDone;
    const Results results(invocation);
    if (!measured.empty())
      results.write("measured.csv", "name,kind,corners,", measure::csv_of(measured, ground));
    if (!surface.lines.empty()) {
      results.write("profile.csv", "name,along_m,", measure::csv_of(surface.lines));
      results.write("profile.svg", "<?xml", measure::svg_of(surface.lines));
    }
    if (options.gsd_profile) results.write("gsd_profile.csv", "x,y,file,gsd", measure::csv_of(profile));
    return kDone;
  } catch (const measure::InputError& error) {
    throw WrongUse(std::string("measure: ") + error.what());
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
      fmt::print("{}Written: {}, with alignment.json and before_after.html beside it\n",
                 measure::text_of(alignment), (fs::path(invocation.out) / "aligned.tif").string());
    return kDone;
  } catch (const measure::InputError& error) {
    throw WrongUse(std::string("align: ") + error.what());
  }
}

}  // namespace

Command measure_command() {
  auto options = std::make_shared<measure::Options>();
  Command command;
  command.name = "measure";
  command.summary = "positions, lengths and areas on a finished mosaic, with their uncertainty";
  command.manual =
      "Reads OUT, the output folder of an earlier run, and measures points, lines and areas given as "
      "options, "
      "as a CSV table or as GeoJSON, in ground units or in mosaic pixels. With -o the results are also "
      "written as measured.csv.";
  command.example = "lookdown measure flight3 --line \"12.5,40 31,40\" --area \"5,5 25,5 25,20 5,20\"";
  command.takes = Takes::results;
  command.takes_name = "OUT";
  command.takes_help = "output folder of an earlier run";
  command.describe = [options](OptionVisitor& visitor) { measure::describe(*options, visitor); };
  command.run = [options](const Invocation& invocation) { return measure_shapes(*options, invocation); };
  return command;
}

Command align_command() {
  Command command;
  command.name = "align";
  command.summary = "bring a later mosaic of the same place into an earlier one's grid";
  command.manual =
      "Takes the output folders of two runs. The second mosaic is turned, scaled and shifted onto the first "
      "and written to -o as aligned.tif, pixel by pixel comparable with the first, with before_after.html to "
      "look at: both dates by slider, in turns and as their difference. alignment.json says how well they "
      "fit.";
  command.example = "lookdown align spring autumn -o compared";
  command.takes = Takes::results;
  command.takes_name = "FIRST SECOND";
  command.takes_help = "output folders of two runs, the one to keep first";
  command.run = align_mosaics;
  return command;
}

}  // namespace lookdown::cli
