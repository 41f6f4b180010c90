#include "stages/run/inputs/check_inputs.h"

#include <cpl_error.h>
#include <fmt/core.h>
#include <fmt/ranges.h>
#include <ogr_spatialref.h>

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <iterator>
#include <limits>
#include <optional>
#include <set>

#include "pipeline/base/files/csv.h"
#include "pipeline/imaging/frame_reader.h"
#include "stages/level/sun_tilt.h"
#include "stages/run/inputs/choices.h"

namespace lookdown {
namespace {

void go_together(const std::optional<double>& first, const std::optional<double>& second,
                 const char* first_name, const char* second_name) {
  if (first.has_value() != second.has_value())
    throw InputMistake(fmt::format("--{} needs --{} beside it", first ? first_name : second_name,
                                   first ? second_name : first_name));
}

void check_reference_system(const std::string& given) {
  if (given.empty()) return;
  CPLPushErrorHandler(CPLQuietErrorHandler);
  OGRSpatialReference system;
  const bool known = system.SetFromUserInput(given.c_str()) == OGRERR_NONE;
  CPLPopErrorHandler();
  if (!known)
    throw InputMistake("--control-crs: \"" + given +
                       "\" is no coordinate reference system that is known; write it as EPSG:25832");
  constexpr double kMetre = 1, kTolerance = 1e-6;
  if (!system.IsLocal() && (!system.IsProjected() || std::abs(system.GetLinearUnits() - kMetre) > kTolerance))
    throw InputMistake("--control-crs: \"" + given +
                       "\" does not count in metres; give a projected system in metres, as EPSG:25832");
}

// Names of the table's points; every number is looked at.
std::set<std::string> control_names(const std::string& file) {
  const CsvTable table = CsvTable::read(file, {"name", "x", "y", "z"});
  std::set<std::string> names;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    for (const char* column : {"x", "y", "z"}) (void)table.number(row, column);
    if (!names.insert(table.text(row, "name")).second)
      throw InputMistake(fmt::format("{}: \"{}\" is named twice; keep one of the rows", table.where(row),
                                     table.text(row, "name")));
  }
  if (names.empty()) throw InputMistake(file + ": holds no point; give a row of name,x,y,z for each");
  return names;
}

std::set<std::string> marked_names(const std::string& file) {
  const CsvTable table = CsvTable::read(file, {"file", "name", "x_px", "y_px"});
  std::set<std::string> names;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    for (const char* column : {"x_px", "y_px"}) (void)table.number(row, column);
    names.insert(table.text(row, "name"));
  }
  if (names.empty()) throw InputMistake(file + ": holds no mark; give a row of file,name,x_px,y_px for each");
  return names;
}

std::string listed(const std::set<std::string>& names) {
  constexpr std::size_t kMost = 12;
  std::vector<std::string> some(names.begin(), names.end());
  const bool more = some.size() > kMost;
  if (more) some.resize(kMost);
  return fmt::format("{}{}", fmt::join(some, ", "), more ? ", ..." : "");
}

void check_scale_bar(const std::vector<std::string>& bar, const std::string& marks_file,
                     const std::set<std::string>& marked) {
  if (bar.empty()) return;
  double metres = 0;
  if (bar.size() == 3) {
    const auto [end, error] = std::from_chars(bar[2].data(), bar[2].data() + bar[2].size(), metres);
    if (error != std::errc() || end != bar[2].data() + bar[2].size()) metres = 0;
  }
  if (!(metres > 0) || !std::isfinite(metres) || bar[0] == bar[1])
    throw InputMistake(
        fmt::format("--scale-bar: \"{}\" is no bar; give two marks and the metres between them, as in "
                    "A,B,12.50",
                    fmt::join(bar, ",")));
  if (marks_file.empty()) throw InputMistake("--scale-bar needs --marks-file with the marks of its two ends");
  for (std::size_t end = 0; end < 2; ++end)
    if (!marked.contains(bar[end]))
      throw InputMistake(fmt::format("--scale-bar: no mark in {} is named \"{}\"; it names {}", marks_file,
                                     bar[end], listed(marked)));
}

std::set<std::string> without(const std::set<std::string>& names, const std::set<std::string>& others) {
  std::set<std::string> left;
  std::set_difference(names.begin(), names.end(), others.begin(), others.end(),
                      std::inserter(left, left.end()));
  return left;
}

bool same_but_for_case(const std::string& a, const std::string& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](unsigned char x, unsigned char y) { return std::tolower(x) == std::tolower(y); });
}

// More may be marked than was measured, and more measured than was seen; but a point without marks and a mark
// without a point that are called nearly the same are one point, misspelt.
void compare_names(const place::Options& options, const std::set<std::string>& given,
                   const std::set<std::string>& marked, std::vector<std::string>& notes) {
  const std::set<std::string> bar(options.scale_bar.begin(), options.scale_bar.end());
  const std::set<std::string> unknown = without(without(marked, given), bar), unseen = without(given, marked);
  if (unknown.size() == marked.size())
    throw InputMistake(
        fmt::format("{} marks {}, but {} names {}: no point is in both; give both the same names",
                    options.marks_file, listed(unknown), options.control_file, listed(given)));
  for (const std::string& point : unseen)
    for (const std::string& mark : unknown)
      if (same_but_for_case(point, mark))
        throw InputMistake(fmt::format("{} marks \"{}\" where {} names \"{}\"; write both the same way",
                                       options.marks_file, mark, options.control_file, point));
  if (!unknown.empty())
    notes.push_back(fmt::format("{} also marks {}, of which {} tells no position", options.marks_file,
                                listed(unknown), options.control_file));
  if (!unseen.empty())
    notes.push_back(fmt::format("{} names {} without a mark in {}", options.control_file, listed(unseen),
                                options.marks_file));
}

// Frames by the last part of their names, as place finds them.
void compare_frames(const std::string& marks_file, const std::vector<std::filesystem::path>& files,
                    std::vector<std::string>& notes) {
  const auto last_part = [](const std::string& name) { return name.substr(name.find_last_of("/\\") + 1); };
  std::set<std::string> here, elsewhere;
  for (const std::filesystem::path& file : files) here.insert(file.filename().string());
  const CsvTable table = CsvTable::read(marks_file, {"file"});
  std::size_t strange = 0;
  for (std::size_t row = 0; row < table.rows(); ++row)
    if (!here.contains(last_part(table.text(row, "file")))) {
      ++strange;
      elsewhere.insert(table.text(row, "file"));
    }
  if (strange > 0 && strange == table.rows())
    throw InputMistake(
        fmt::format("{}: none of the frames that it names ({}) is in this flight; give the "
                    "marks of this flight",
                    marks_file, listed(elsewhere)));
  if (strange > 0)
    notes.push_back(fmt::format("{}: {} not in this flight and {} left out", marks_file,
                                strange == 1 ? std::string("1 mark names a frame that is")
                                             : fmt::format("{} marks name frames that are", strange),
                                strange == 1 ? "is" : "are"));
}

void check_control(const place::Options& options, std::vector<std::string>& notes) {
  const bool has_control = !options.control_file.empty(), has_marks = !options.marks_file.empty();
  if (has_control && !has_marks)
    throw InputMistake(
        "--control-file needs --marks-file beside it: where the points are seen in the frames; mark them on "
        "the page report.html");
  const std::set<std::string> given =
      has_control ? control_names(options.control_file) : std::set<std::string>{};
  const std::set<std::string> marked = has_marks ? marked_names(options.marks_file) : std::set<std::string>{};
  check_scale_bar(options.scale_bar, options.marks_file, marked);
  if (!options.check.empty() && !has_control)
    throw InputMistake("--check-points needs --control-file, which says where they are");
  for (const std::string& name : options.check)
    if (!given.contains(name))
      throw InputMistake(fmt::format("--check-points: \"{}\" is not in {}, which names {}", name,
                                     options.control_file, listed(given)));
  if (has_control) compare_names(options, given, marked, notes);
}

// A pixel of the mosaic is the median of the frames' unless a person asks for another, so that the smallest
// frame already fills as many pixels as it has.
void check_allowed_size(const mosaic::Options& options, const std::vector<std::filesystem::path>& files) {
  if (options.gsd_m || options.max_gigapixels > 1) return;
  const FrameReader reader;
  std::optional<double> least_gigapixels;
  for (const std::filesystem::path& file : files)
    if (const Result<FrameHeader> header = reader.header(file))
      least_gigapixels = std::min(least_gigapixels.value_or(std::numeric_limits<double>::infinity()),
                                  1e-9 * header->width_px * header->height_px);
  if (least_gigapixels && *least_gigapixels > options.max_gigapixels)
    throw InputMistake(
        fmt::format("--max-gigapixels {:g} is less than a single frame, which has {:.3g} megapixels "
                    "({:.2g} gigapixels); give more, or a coarser --gsd-m",
                    options.max_gigapixels, 1e3 * *least_gigapixels, *least_gigapixels));
}

}  // namespace

std::vector<std::string> check_inputs(const FlightOptions& options,
                                      const std::vector<std::filesystem::path>& files) {
  std::vector<std::string> notes;
  try {
    go_together(options.glare.lat_deg, options.glare.lon_deg, "lat-deg", "lon-deg");
    check_reference_system(options.place.control_crs);
    check_control(options.place, notes);
    if (!options.place.marks_file.empty()) compare_frames(options.place.marks_file, files, notes);
    if (!options.place.camera_positions.empty())
      place::check_camera_positions(options.place.camera_positions);
    if (!options.choices_file.empty()) (void)read_choices(options.choices_file);
    if (!options.sun_marks_file.empty()) (void)level::read_sun_marks(options.sun_marks_file);
    if (!options.rectify.ground_file.empty()) (void)rectify::read_ground_signs(options.rectify.ground_file);
    inspect::check(options.inspect);
    check_allowed_size(options.mosaic, files);
    mosaic::check(options.mosaic);
    return notes;
  } catch (const InputMistake&) {
    throw;
  } catch (const std::runtime_error& error) {
    throw InputMistake(error.what());
  }
}

}  // namespace lookdown
