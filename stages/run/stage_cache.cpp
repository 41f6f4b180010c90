#include "stages/run/stage_cache.h"

#include <sys/stat.h>

#include <algorithm>
#include <fstream>
#include <iterator>
#include <map>
#include <nlohmann/json.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/base/files/file_digest.h"
#include "pipeline/imaging/frame_reader.h"
#include "pipeline/record/record_json.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

std::string bytes_of(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

std::vector<std::string> mask_files(const FlightRecord& record) {
  std::vector<std::string> files;
  for (const FrameRecord& frame : record.frames) {
    if (!frame.glare) continue;
    for (const std::string& file : {frame.glare->mask_file, frame.glare->water_mask_file})
      if (!file.empty()) files.push_back(file);
  }
  return files;
}

// What the step sees of the record: not how the run was called, how long it took, nor where the flight's
// folder lies now.
std::string seen_by_step(const FlightRecord& record) {
  json seen = to_json(record);
  for (const char* own : {"command_line", "options", "timings"}) seen.erase(own);
  for (json& frame : seen.at("frames")) {
    json& path = frame.at("source").at("path");
    path = fs::path(path.get<std::string>()).parent_path().filename().string();
  }
  return seen.dump();
}

// Tables count by what they hold, not by how their names were written.
std::string options_seen(const Step& step) {
  json options = json::parse(options_to_json(step.options));
  for (const fs::path& table : step.tables)
    for (json& value : options)
      if (!table.empty() && value == table.string()) value = "table";
  return options.dump();
}

std::string key_of(const Step& step, const FlightRecord& record, const fs::path& out) {
  std::string seen = seen_by_step(record);
  for (const std::string& mask : mask_files(record)) seen += digest_of_file(out / mask);
  for (const fs::path& table : step.tables)
    if (!table.empty()) seen += digest_of_file(table);
  return Cache::key(step.name_and_version + " " + kReaderVersion, seen, options_seen(step));
}

std::vector<fs::path> output_files(const Step& step, const fs::path& out) {
  std::vector<fs::path> files;
  if (step.output_prefix.empty() || !fs::is_directory(out)) return files;
  for (const auto& entry : fs::directory_iterator(out))
    if (entry.is_regular_file() && entry.path().filename().string().starts_with(step.output_prefix))
      files.push_back(entry.path());
  return files;
}

/// Tells a file that was written anew, beside its place and then renamed, from the one that lay there before.
struct Identity {
  fs::path file;
  ino_t node = 0;
  timespec modified{};
};

std::vector<Identity> identities_of(const std::vector<fs::path>& files) {
  std::vector<Identity> identities;
  for (const fs::path& file : files)
    if (struct stat facts{}; ::stat(file.c_str(), &facts) == 0)
      identities.push_back({file, facts.st_ino, facts.st_mtim});
  return identities;
}

/// Removes what lies there as it lay before the step's work: the step does not make it any more.
void remove_stale(const std::vector<Identity>& before) {
  for (const Identity& old : before)
    if (struct stat facts{}; ::stat(old.file.c_str(), &facts) == 0 && facts.st_ino == old.node &&
                             facts.st_mtim.tv_sec == old.modified.tv_sec &&
                             facts.st_mtim.tv_nsec == old.modified.tv_nsec)
      fs::remove(old.file);
}

json output_digests(const Step& step, const fs::path& out) {
  json digests = json::object();
  for (const fs::path& file : output_files(step, out))
    digests[file.filename().string()] = digest_of_file(file);
  return digests;
}

void restore(const json& kept, FlightRecord& record, const fs::path& out) {
  const std::vector<std::string> masks_before = mask_files(record);
  FlightRecord made = flight_record_from_json(kept.at("record"));
  made.command_line = record.command_line;
  made.options_json = record.options_json;
  made.timings = std::move(record.timings);
  for (std::size_t i = 0; i < made.frames.size(); ++i)
    made.frames[i].source.path = record.frames[i].source.path;
  record = std::move(made);
  for (const auto& [file, bytes] : kept.at("masks").items()) {
    const auto& binary = bytes.get_binary();
    write_file(out / file, std::string_view(reinterpret_cast<const char*>(binary.data()), binary.size()));
  }
  // Masks that the step found to hold nothing after all.
  const std::vector<std::string> masks = mask_files(record);
  std::error_code absent;
  for (const std::string& file : masks_before)
    if (std::find(masks.begin(), masks.end(), file) == masks.end()) fs::remove(out / file, absent);
}

json remembered(const Step& step, const FlightRecord& record, const fs::path& out) {
  json kept{{"record", to_json(record)}, {"masks", json::object()}, {"outputs", output_digests(step, out)}};
  if (!step.rewrites_masks) return kept;
  for (const std::string& mask : mask_files(record)) {
    const std::string bytes = bytes_of(out / mask);
    kept["masks"][mask] = json::binary({bytes.begin(), bytes.end()});
  }
  return kept;
}

}  // namespace

bool remember_step(const Step& step, FlightRecord& record, RunContext& context,
                   const std::function<void()>& work) {
  const std::string key = key_of(step, record, context.out);
  if (const auto packed = context.cache.find(key)) {
    const json kept = json::from_cbor(*packed, true, false);
    if (kept.is_object() && kept.value("outputs", json()) == output_digests(step, context.out)) {
      restore(kept, record, context.out);
      return true;
    }
  }
  const std::vector<Identity> before = identities_of(output_files(step, context.out));
  const std::int64_t faults_before = context.scheduler.faults_met();
  work();
  remove_stale(before);
  // A card that was pulled comes back: what was made without a frame's pixels is not what the next run should
  // find.
  if (context.scheduler.faults_met() > faults_before) return false;
  const std::vector<std::uint8_t> packed = json::to_cbor(remembered(step, record, context.out));
  context.cache.keep(key, {reinterpret_cast<const char*>(packed.data()), packed.size()});
  return false;
}

}  // namespace lookdown
