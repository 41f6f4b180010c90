#include "stages/inspect/twins.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "pipeline/imaging/frame_reader.h"

namespace lookdown::inspect {
namespace {

// The two files of a shot may round its time differently.
constexpr double kSameTimeS = 2;

std::string without_ending(const FrameSource& source) {
  return std::filesystem::path(source.file).replace_extension().generic_string();
}

bool same_time(const FrameInfo& a, const FrameInfo& b) {
  return !a.taken_at_s || !b.taken_at_s || std::abs(*a.taken_at_s - *b.taken_at_s) < kSameTimeS;
}

struct Pair {
  std::size_t raw, jpeg;
};

std::vector<Pair> find_pairs(const std::vector<FrameRecord>& frames) {
  std::map<std::string, std::vector<std::size_t>> by_name;
  for (std::size_t i = 0; i < frames.size(); ++i) by_name[without_ending(frames[i].source)].push_back(i);
  std::vector<Pair> pairs;
  for (const auto& [name, files] : by_name) {
    if (files.size() != 2) continue;
    const auto is_raw = [&](std::size_t i) { return has_raw_ending(frames[i].source.path); };
    if (is_raw(files[0]) == is_raw(files[1])) continue;
    const Pair pair{is_raw(files[0]) ? files[0] : files[1], is_raw(files[0]) ? files[1] : files[0]};
    const std::string& other = frames[pair.jpeg].source.format;
    const bool saved_by_camera = other == "JPEG" || other == "HEIF" || frames[pair.jpeg].fault;
    if (saved_by_camera && same_time(frames[pair.raw].info, frames[pair.jpeg].info)) pairs.push_back(pair);
  }
  return pairs;
}

}  // namespace

void join_twins(FlightRecord& record, bool jpeg_is_the_frame) {
  std::vector<FrameRecord>& frames = record.frames;
  std::set<std::size_t> left_out;
  int unreadable_raw = 0;
  const std::vector<Pair> pairs = find_pairs(frames);
  for (const Pair& pair : pairs) {
    const bool raw_fails = frames[pair.raw].fault && !frames[pair.jpeg].fault;
    const bool jpeg_serves = raw_fails || (jpeg_is_the_frame && !frames[pair.jpeg].fault);
    unreadable_raw += raw_fails ? 1 : 0;
    const std::size_t frame = jpeg_serves ? pair.jpeg : pair.raw, other = jpeg_serves ? pair.raw : pair.jpeg;
    frames[frame].source.twin_file = frames[other].source.file;
    left_out.insert(other);
  }
  if (pairs.empty()) return;
  record.notes.push_back(
      fmt::format("{} shots were saved both as camera raw and as JPEG; each is one frame.", pairs.size()));
  if (unreadable_raw > 0)
    record.warnings.push_back(fmt::format(
        "{} camera raw files cannot be read; the JPEG of the same shot stands for each.", unreadable_raw));
  std::vector<FrameRecord> kept;
  for (std::size_t i = 0; i < frames.size(); ++i)
    if (!left_out.contains(i)) kept.push_back(std::move(frames[i]));
  frames = std::move(kept);
}

}  // namespace lookdown::inspect
