// Scores which frames are taken for views of the ground, in flights into which other pictures were put:
//   score_views [--each] FOLDER...
// A folder holds pictures and what.tsv, with a heading and one line a picture: file, kind, source. The kind
// is "own" for the flight's own sharp frames that look down, "oblique", "horizon" or "blurred" for those that
// are not scored, and anything else for what shows no ground from above. Frames are measured, decided, placed
// and settled as a run does it, glare apart. Prints, as `lookdown cull` would say it and after placing, how
// many own frames are doubted for what they show and how many of the others are not kept, by their kinds.
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>
#include <opencv2/core.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "pipeline/record/run_context.h"
#include "stages/cull/cull.h"
#include "stages/inspect/inspect.h"
#include "stages/level/level.h"
#include "stages/place/place.h"

namespace {

using namespace lookdown;
namespace fs = std::filesystem;

using Kinds = std::map<std::string, std::string>;

Kinds kinds_of(const fs::path& folder) {
  std::ifstream table(folder / "what.tsv");
  Kinds kinds;
  std::string line;
  std::getline(table, line);
  while (std::getline(table, line)) {
    std::istringstream cells(line);
    std::string file, kind;
    if (std::getline(cells, file, '\t') && std::getline(cells, kind, '\t')) kinds[file] = kind;
  }
  return kinds;
}

struct Count {
  int of = 0, doubted = 0;
};
struct Tally {
  Count own;
  std::map<std::string, Count> others;
  void add(const std::string& kind, const FrameRecord& frame) {
    if (kind == "oblique" || kind == "horizon" || kind == "blurred") return;
    const bool is_own = kind == "own";
    Count& count = is_own ? own : others[kind];
    ++count.of;
    count.doubted += is_own ? frame.decision.view == View::other : frame.decision.verdict != Verdict::keep;
  }
  void print(const char* when) const {
    Count all;
    std::string parts;
    for (const auto& [kind, count] : others) {
      all.of += count.of, all.doubted += count.doubted;
      parts += " " + kind + " " + std::to_string(count.doubted) + "/" + std::to_string(count.of);
    }
    std::printf("  %-14s own frames doubted %d of %d; others told %d of %d:%s\n", when, own.doubted, own.of,
                all.doubted, all.of, parts.c_str());
  }
};

void look_at(FrameRecord& frame, const FrameReader& reader) {
  FramePixels pixels(reader, frame.source);
  frame.sharpness = cull::measure(pixels);
  level::Finding found = level::find(pixels, frame.info, {});
  frame.horizon_looked_for = true;
  frame.horizon = found.horizon;
  frame.tilt_sources = found.tilts;
  for (const Tilt& tilt : found.tilts)
    if (!frame.tilt || tilt.sigma_deg < frame.tilt->sigma_deg) frame.tilt = tilt;
}

void tell(const FlightRecord& flight, const Kinds& kinds) {
  for (const FrameRecord& frame : flight.frames) {
    std::printf("    %-12s %-8s %-7s %-6s", frame.source.file.c_str(), kinds.at(frame.source.file).c_str(),
                word(frame.decision.view), word(frame.decision.verdict));
    for (const Reason& r : frame.decision.reasons)
      std::printf(" %s %.2f;", r.word.c_str(), r.value.value_or(-1));
    std::printf(" %s\n", frame.placement.why_not.c_str());
  }
}

void score(const fs::path& folder, bool each, Tally& before_all, Tally& after_all) {
  const Kinds kinds = kinds_of(folder);
  std::vector<fs::path> files;
  for (const auto& [file, kind] : kinds) files.push_back(folder / file);
  const FrameReader reader;
  const Scheduler scheduler(Resources{2, 1'200'000'000});
  const fs::path out = folder / "scored";
  const Cache cache(out / ".cache");
  Progress progress(false);
  RunContext context{out, reader, scheduler, cache, progress};
  FlightRecord flight = inspect::inspect(files, {}, context);
  for (FrameRecord& frame : flight.frames) look_at(frame, reader);
  cull::Options options;
  options.keep_repeats = true;
  cull::decide(flight, options);
  Tally before, after;
  for (const FrameRecord& frame : flight.frames) {
    before.add(kinds.at(frame.source.file), frame);
    before_all.add(kinds.at(frame.source.file), frame);
  }
  place::place(flight, {}, context);
  cull::settle_by_overlap(flight, options, context);
  for (const FrameRecord& frame : flight.frames) {
    after.add(kinds.at(frame.source.file), frame);
    after_all.add(kinds.at(frame.source.file), frame);
  }
  std::printf("%s\n", folder.filename().c_str());
  if (each) tell(flight, kinds);
  before.print("before placing");
  after.print("after placing");
}

}  // namespace

int main(int count, char** words) {
  cv::setNumThreads(1);
  bool each = false;
  Tally before, after;
  for (int i = 1; i < count; ++i) {
    if (std::string(words[i]) == "--each")
      each = true;
    else
      score(words[i], each, before, after);
  }
  std::printf("all\n");
  before.print("before placing");
  after.print("after placing");
  return 0;
}
