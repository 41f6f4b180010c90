#include "stages/report/words/sidecar.h"

#include <fmt/format.h>

#include <exiv2/exiv2.hpp>

#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/metadata/exiv2_lock.h"
#include "stages/report/words/flight_figures.h"

namespace lookdown::report {
namespace {

std::string reason_in_words(const Reason& reason) {
  std::string text = reason.word;
  if (reason.value) text += fmt::format(" {:.3g} {}", *reason.value, reason.unit);
  if (reason.value && reason.limit) text += fmt::format(" (limit {:.3g})", *reason.limit);
  return text;
}

std::string sentence(const FrameRecord& frame) {
  if (frame.fault) return "drop: " + *frame.fault;
  std::string text = word(frame.decision.verdict);
  for (const Reason& reason : frame.decision.reasons) {
    text += (&reason == &frame.decision.reasons.front() ? ": " : ", ") + reason_in_words(reason);
  }
  if (frame.decision.by_person) text += " (set by a person)";
  return text;
}

void put(Exiv2::XmpData& xmp, const char* key, const std::optional<double>& value) {
  if (value) xmp[key] = fmt::format("{:.6g}", *value);
}

void put_numbers(Exiv2::XmpData& xmp, const FrameRecord& frame) {
  if (frame.sharpness) {
    put(xmp, "Xmp.lookdown.sharpness", frame.sharpness->sharpness);
    put(xmp, "Xmp.lookdown.blur_fwhm_px", frame.sharpness->blur_fwhm_px);
    put(xmp, "Xmp.lookdown.smear_px", frame.sharpness->smear_px);
  }
  if (frame.horizon) put(xmp, "Xmp.lookdown.roll_deg", frame.horizon->roll_deg);
  if (frame.tilt) put(xmp, "Xmp.lookdown.off_nadir_deg", frame.tilt->off_nadir_deg);
  if (frame.glare) put(xmp, "Xmp.lookdown.glare_share", frame.glare->glare_share);
}

}  // namespace

std::string sidecar(const FrameRecord& frame) {
  const auto lock = exiv2_lock();
  Exiv2::XmpProperties::registerNs(kSidecarNamespace, "lookdown");
  const char* verdict = frame.fault ? word(Verdict::drop) : word(frame.decision.verdict);
  Exiv2::XmpData xmp;
  Exiv2::LangAltValue description;
  description.value_["x-default"] = sentence(frame);
  xmp.add(Exiv2::XmpKey("Xmp.dc.description"), &description);

  Exiv2::XmpArrayValue subject(Exiv2::xmpBag);
  subject.read(std::string("verdict ") + verdict);
  for (const Reason& reason : frame.decision.reasons) subject.read(reason.word);
  xmp.add(Exiv2::XmpKey("Xmp.dc.subject"), &subject);

  xmp["Xmp.lookdown.verdict"] = verdict;
  xmp["Xmp.lookdown.view"] = word(frame.decision.view);
  if (!frame.decision.repeat_of.empty()) xmp["Xmp.lookdown.repeat_of"] = frame.decision.repeat_of;
  put_numbers(xmp, frame);

  std::string packet;
  const int failed = Exiv2::XmpParser::encode(packet, xmp, Exiv2::XmpParser::useCompactFormat, 0);
  if (failed != 0) throw WriteError(frame.source.file + ": its sidecar could not be encoded");
  return packet;
}

void write_sidecars(const FlightRecord& record, const std::filesystem::path& out) {
  for (const FrameRecord& frame : record.frames) {
    write_file(out / "sidecars" / (frame.source.stem + ".xmp"), sidecar(frame));
  }
}

}  // namespace lookdown::report
