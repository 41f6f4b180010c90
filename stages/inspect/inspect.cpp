#include "stages/inspect/inspect.h"

#include <fmt/core.h>

#include <algorithm>
#include <limits>
#include <map>
#include <tuple>

#include "stages/inspect/camera_choice.h"
#include "stages/inspect/exif.h"
#include "stages/inspect/other_folders.h"
#include "stages/inspect/twins.h"

namespace lookdown::inspect {
namespace {

namespace fs = std::filesystem;

constexpr int kSmallestSidePx = 64;  // below this nothing can be measured

fs::path common_folder(const std::vector<fs::path>& files) {
  fs::path common = files.empty() ? fs::path() : fs::absolute(files.front()).lexically_normal().parent_path();
  for (const fs::path& file : files) {
    const fs::path folder = fs::absolute(file).lexically_normal().parent_path();
    const auto [end_common, end_folder] =
        std::mismatch(common.begin(), common.end(), folder.begin(), folder.end());
    fs::path shared;
    for (auto part = common.begin(); part != end_common; ++part) shared /= *part;
    common = shared;
  }
  return common;
}

void fail(FrameRecord& frame, const std::string& what) {
  frame.fault = what;
  frame.decision.verdict = Verdict::drop;
}

// Detail and hint without the file name, which has a column of its own.
std::string reason_text(const Fault& fault) {
  return fault.hint.empty() ? fault.detail : fault.detail + "; " + fault.hint;
}

void read_one(FrameRecord& frame, const std::optional<Camera>& calibration, const Options& options,
              const FrameReader& reader) {
  const Result<FrameHeader> header = reader.header(frame.source.path);
  if (!header) return fail(frame, reason_text(header.error()));
  frame.source.width_px = header->width_px;
  frame.source.height_px = header->height_px;
  frame.source.format = header->format;
  if (std::min(header->width_px, header->height_px) < kSmallestSidePx)
    return fail(frame,
                fmt::format("is only {} x {} pixels; leave it out", header->width_px, header->height_px));
  const Result<std::vector<std::uint8_t>> file = reader.bytes(frame.source.path);
  if (!file) return fail(frame, reason_text(file.error()));
  frame.source.size_bytes = file->size();
  frame.source.content_hash = digest({reinterpret_cast<const char*>(file->data()), file->size()});
  const ExifTags tags = read_exif(*file);
  // An HEIF file orders its turning itself, and decoding has followed; Exif only repeats it (ISO/IEC
  // 23008-12, annex A).
  const bool already_turned = header->format == "HEIF" || header->format == "AVIF";
  frame.source.orientation = already_turned ? 1 : tags.orientation;
  frame.info = tags.frame;
  frame.info.camera = choose_camera(tags, header->width_px, header->height_px, calibration, options);
  frame.info.camera_id = camera_id(frame.info, header->width_px, header->height_px);
}

// Control characters in a file name would act on a terminal and break rows of a table; they are shown as RFC
// 3986 writes octets.
std::string printable(const std::string& name) {
  std::string shown;
  for (const unsigned char c : name)
    shown += c < 0x20 || c == 0x7f ? fmt::format("%{:02X}", c) : std::string(1, static_cast<char>(c));
  return shown;
}

// A raw file and its JPEG may share a stem; then the ending stays so that their outputs do not overwrite each
// other.
void name_outputs(std::vector<FrameRecord>& frames) {
  const auto without_ending = [](const FrameRecord& frame) {
    return fs::path(frame.source.file).replace_extension().generic_string();
  };
  std::map<std::string, int> uses;
  for (const FrameRecord& frame : frames) ++uses[without_ending(frame)];
  for (FrameRecord& frame : frames)
    frame.source.stem = uses[without_ending(frame)] == 1 ? without_ending(frame) : frame.source.file;
}

auto flight_order(const FrameRecord& frame) {
  return std::make_tuple(frame.info.taken_at_s.value_or(std::numeric_limits<double>::infinity()),
                         frame.source.file);
}

}  // namespace

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option({"camera-file",
                  "OpenCV calibration file of the camera (camera_matrix, distortion_coefficients, "
                  "image_width, image_height)"},
                 options.camera_file);
  visitor.option(
      {"focal-px", "focal length in pixels of the frame as stored; overrides every other source", 10, 1e6},
      options.focal_px);
  visitor.option({"focal-35mm", "focal length as 35 mm equivalent; overrides Exif", 1, 5000},
                 options.focal_35mm);
  visitor.option({"raw-or-jpeg",
                  "which file stands for a shot that was saved both as camera raw and as JPEG",
                  0,
                  0,
                  {"raw", "jpeg"}},
                 options.twin);
}

void check(const Options& options) {
  if (!options.camera_file.empty()) (void)read_calibration(options.camera_file);
}

FlightRecord inspect(const std::vector<fs::path>& files, const Options& options, RunContext& context) {
  std::optional<Camera> calibration;
  if (!options.camera_file.empty()) calibration = read_calibration(options.camera_file);
  const fs::path root = common_folder(files);
  FlightRecord record;
  record.frames.resize(files.size());
  for (std::size_t i = 0; i < files.size(); ++i) {
    record.frames[i].source.path = fs::absolute(files[i]).lexically_normal();
    record.frames[i].source.file =
        printable(record.frames[i].source.path.lexically_relative(root).generic_string());
  }
  constexpr std::int64_t kFileBytes = 100'000'000;  // the file itself is in memory while it is hashed
  context.progress.start("inspect", files.size());
  context.scheduler.for_each_frame(
      files.size(), kFileBytes,
      [&](std::size_t i) { read_one(record.frames[i], calibration, options, context.reader); },
      [&](std::size_t i, const std::optional<Fault>& fault) {
        if (fault) fail(record.frames[i], reason_text(*fault));
        context.progress.step(i + 1);
      });
  context.progress.finish();
  leave_out_other_folders(record);
  join_twins(record, options.twin == "jpeg");
  name_outputs(record.frames);
  std::sort(record.frames.begin(), record.frames.end(),
            [](const FrameRecord& a, const FrameRecord& b) { return flight_order(a) < flight_order(b); });
  return record;
}

}  // namespace lookdown::inspect
