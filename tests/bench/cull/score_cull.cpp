// Scores the cull on flights whose truth is known.
//   score_cull [-v] [-t TABLE] FLIGHT...      a flight is a folder with truth.json and its frames; -v lists
//   the mistakes, -t writes a row a frame
// Prints for ours the verdicts and the median errors of length and direction (smears of 4 to 25 px; the limit
// is 12 % or 1 px) and of the width, and for ours and the classical measures the area under the operating
// curve of sharp against blurred (smear >= 3 px or Gaussian sigma >= 1.3 px).
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <string>

#include "classical_sharpness.h"
#include "pipeline/imaging/frame_reader.h"
#include "separation.h"
#include "stages/cull/cull.h"

namespace {

using namespace lookdown;
namespace fs = std::filesystem;

struct Truth {
  std::string kind;  ///< of the frame: nadir, oblique, ...
  std::string blur;  ///< none, smear, defocus, ...
  double smear_px = 0, smear_deg = 0, sigma_px = 0;
  [[nodiscard]] bool sharp() const { return blur == "none"; }
  [[nodiscard]] bool blurred() const { return smear_px >= 3 || sigma_px >= 1.3; }
};

struct Scored {
  Truth truth;
  double laplacian = 0, gradient = 0, reblur = 0;
};

struct Groups {
  std::vector<double> sharp, blurred;
  void add(const Truth& truth, double value) {
    if (truth.sharp()) sharp.push_back(value);
    if (truth.blurred()) blurred.push_back(value);
  }
};

struct Tally {
  Groups ours, laplacian, gradient, reblur;
  std::vector<double> length_px, length, length_of_limit, direction, sigma;
  int sharp = 0, sharp_kept = 0, sharp_unsure = 0, blurred = 0, blurred_kept = 0, blurred_unsure = 0;
};

double number(const nlohmann::json& j, const char* key) {
  return j.contains(key) && j[key].is_number() ? j[key].get<double>() : 0;
}

double turn_between(double a_deg, double b_deg) {
  return std::abs(std::fmod(a_deg - b_deg + 90 + 3600, 180) - 90);
}

void add(Tally& tally, const FrameRecord& frame, const Scored& scored) {
  const Truth& truth = scored.truth;
  tally.laplacian.add(truth, scored.laplacian);
  tally.gradient.add(truth, scored.gradient);
  tally.reblur.add(truth, scored.reblur);
  if (!frame.sharpness) return;
  // A frame that does not tell counts as the middle: neither sharp nor blurred.
  tally.ours.add(truth, frame.sharpness->sharpness.value_or(0.5));
  const bool keep = frame.decision.verdict == Verdict::keep,
             unsure = frame.decision.verdict == Verdict::unsure;
  if (truth.sharp()) ++tally.sharp, tally.sharp_kept += keep, tally.sharp_unsure += unsure;
  if (truth.blurred()) ++tally.blurred, tally.blurred_kept += keep, tally.blurred_unsure += unsure;
  const Sharpness& s = *frame.sharpness;
  if (truth.smear_px >= 4 && truth.smear_px <= 25 && s.smear_px) {
    const double off_px = std::abs(*s.smear_px - truth.smear_px);
    tally.length_px.push_back(off_px);
    tally.length.push_back(off_px / truth.smear_px);
    tally.length_of_limit.push_back(off_px / std::max(1.0, 0.12 * truth.smear_px));
    if (s.smear_deg) tally.direction.push_back(turn_between(*s.smear_deg, truth.smear_deg));
  }
  if (truth.sigma_px >= 1.3 && truth.smear_px == 0 && s.blur_fwhm_px)
    tally.sigma.push_back(std::abs(*s.blur_fwhm_px / 2.35482 / truth.sigma_px - 1));
}

void print(const char* name, const Tally& t) {
  const auto area = [](const Groups& g) { return bench::area_under_curve(g.sharp, g.blurred); };
  const double balanced = 0.5 * (static_cast<double>(t.sharp_kept) / std::max(1, t.sharp) + 1 -
                                 static_cast<double>(t.blurred_kept) / std::max(1, t.blurred));
  const auto reached = [](const Groups& g) { return bench::best_balanced(g.sharp, g.blurred).accuracy; };
  std::printf(
      "%-14s sharp %3d (kept %3d, unsure %d), blurred %3d (kept %3d, unsure %d), balanced %.4f | smear: "
      "length "
      "%.3f, %.2f px, %.2f of the limit, direction %.2f deg (n %zu) | sigma %.3f (n %zu)\n",
      name, t.sharp, t.sharp_kept, t.sharp_unsure, t.blurred, t.blurred_kept, t.blurred_unsure, balanced,
      bench::median(t.length), bench::median(t.length_px), bench::median(t.length_of_limit),
      bench::median(t.direction), t.length.size(), bench::median(t.sigma), t.sigma.size());
  std::printf(
      "%-14s area under the curve, and balanced accuracy at the limit that is best for each: ours %.4f %.4f, "
      "variance of Laplacian %.4f %.4f, Tenengrad %.4f %.4f, re-blur %.4f %.4f\n",
      "", area(t.ours), reached(t.ours), area(t.laplacian), reached(t.laplacian), area(t.gradient),
      reached(t.gradient), area(t.reblur), reached(t.reblur));
}

std::string reasons_of(const Decision& decision) {
  std::string text;
  for (const Reason& r : decision.reasons) {
    text += r.word;
    char numbers[64] = "";
    if (r.value && r.limit) std::snprintf(numbers, sizeof numbers, " %.2f/%.2f", *r.value, *r.limit);
    text += numbers;
    text += "; ";
  }
  return text;
}

void print_mistake(const FrameRecord& frame, const Truth& truth) {
  const bool keep = frame.decision.verdict == Verdict::keep;
  if (!((truth.sharp() && !keep) || (truth.blurred() && keep)) || !frame.sharpness) return;
  const Sharpness& s = *frame.sharpness;
  std::printf(
      "   %s %s truth %s L %.1f @%.0f sigma %.2f -> sharpness %.3f fwhm %.2f smear %.1f @%.0f detail %.2f: "
      "%s %s\n",
      frame.source.file.c_str(), truth.kind.c_str(), truth.blur.c_str(), truth.smear_px, truth.smear_deg,
      truth.sigma_px, s.sharpness.value_or(-1), s.blur_fwhm_px.value_or(-1), s.smear_px.value_or(-1),
      s.smear_deg.value_or(-1), s.detail, word(frame.decision.verdict), reasons_of(frame.decision).c_str());
  std::printf("      widths of the parts:");
  for (const TileBlur& part : s.tiles) std::printf(" %.1f", part.blur_fwhm_px.value_or(-1));
  std::printf("\n");
}

/// One row: truth, then what was measured, then the widths of the parts.
void write_row(std::ofstream& table, const std::string& flight, const FrameRecord& frame,
               const Truth& truth) {
  if (!table.is_open() || !frame.sharpness) return;
  const Sharpness& s = *frame.sharpness;
  table << flight << ',' << frame.source.file << ',' << truth.kind << ',' << truth.blur << ','
        << truth.smear_px << ',' << truth.smear_deg << ',' << truth.sigma_px << ','
        << s.sharpness.value_or(-1) << ',' << s.blur_fwhm_px.value_or(-1) << ',' << s.smear_px.value_or(-1)
        << ',' << s.smear_deg.value_or(-1) << ',' << s.detail << ',' << s.blur_sigma_share.value_or(-1) << ','
        << word(frame.decision.verdict);
  for (const TileBlur& part : s.tiles) table << ',' << part.blur_fwhm_px.value_or(-1);
  table << '\n';
}

void score_flight(const fs::path& folder, bool verbose, std::ofstream& table, Tally& all) {
  const auto truth_file = nlohmann::json::parse(std::ifstream(folder / "truth.json"));
  const FrameReader reader;
  FlightRecord flight;
  std::vector<Scored> scored;
  cull::Options options;
  options.keep_repeats = true;
  for (const auto& entry : truth_file["frames"]) {
    // Launch and landing frames are no matter of blur; a frame blurred in one half is neither.
    if (entry["kind"] == "launch" || entry["blur"].value("one_half", false)) continue;
    FrameRecord frame;
    frame.source.file = entry["file"];
    frame.source.path = folder / frame.source.file;
    const auto header = reader.header(frame.source.path);
    if (!header) {
      std::cerr << header.error().message() << '\n';
      continue;
    }
    frame.source.width_px = header->width_px;
    frame.source.height_px = header->height_px;
    frame.source.format = header->format;
    FramePixels pixels(reader, frame.source);
    frame.sharpness = cull::measure(pixels);
    Scored s;
    const auto& blur = entry["blur"];
    s.truth = {entry["kind"], blur["kind"], number(blur, "smear_px"), number(blur, "smear_deg"),
               number(blur, "sigma_px")};
    const cv::Mat& grey = pixels.grey(1);
    s.laplacian = bench::variance_of_laplacian(grey);
    s.gradient = bench::tenengrad(grey);
    s.reblur = bench::reblur_sharpness(grey);
    // The views that levelling would find, taken from the truth: this program scores blur alone.
    if (s.truth.kind == "horizon" || s.truth.kind == "oblique") frame.horizon = Horizon{};
    scored.push_back(s);
    flight.frames.push_back(std::move(frame));
  }
  cull::decide(flight, options);
  Tally here;
  for (std::size_t i = 0; i < scored.size(); ++i) {
    add(here, flight.frames[i], scored[i]);
    add(all, flight.frames[i], scored[i]);
    write_row(table, folder.filename(), flight.frames[i], scored[i].truth);
    if (verbose) print_mistake(flight.frames[i], scored[i].truth);
  }
  print(folder.filename().c_str(), here);
}

}  // namespace

int main(int argc, char** argv) {
  cv::setNumThreads(1);
  Tally all;
  bool verbose = false;
  std::ofstream table;
  for (int i = 1; i < argc; ++i) {
    if (std::strcmp(argv[i], "-v") == 0)
      verbose = true;
    else if (std::strcmp(argv[i], "-t") == 0 && i + 1 < argc)
      table.open(argv[++i]);
    else
      score_flight(argv[i], verbose, table, all);
  }
  print("all", all);
  return 0;
}
