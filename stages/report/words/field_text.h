// Accuracy and method in words ready to paste into a field report. Says what is not known instead of leaving
// it out.
#pragma once

#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"

namespace lookdown::report {

/// One sentence on how far positions in the mosaic can be trusted.
[[nodiscard]] std::string accuracy_sentence(const FlightRecord&);

/// Plain text: a paragraph for people, then one "Heading: text" a line.
[[nodiscard]] std::string field_text(const FlightRecord&);

/// "12 blurred, 4 near-repeat" of the frames with this verdict; empty when there are none.
[[nodiscard]] std::string reasons_in_words(const FlightRecord&, Verdict);

/// 0.0123 m as "12 mm", 1.234 m as "1.23 m".
[[nodiscard]] std::string length_in_words(double metres);

}  // namespace lookdown::report
