// Verdict and reasons as XMP sidecars (ISO 16684-1), so that other programs can see them. Originals are never
// touched.
#pragma once

#include <filesystem>
#include <string>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

/// One frame's sidecar: dc:description as a sentence, dc:subject with verdict and reasons as words, and each
/// number as a property of the namespace below.
[[nodiscard]] std::string sidecar(const FrameRecord&);

/// Namespace of the properties that Dublin Core has no word for (RFC 2606: .example belongs to nobody).
inline constexpr const char* kSidecarNamespace = "http://ns.lookdown.example/flight/1.0/";

/// Writes sidecars/STEM.xmp below `out` for every frame.
void write_sidecars(const FlightRecord&, const std::filesystem::path& out);

}  // namespace lookdown::report
