// The pictures of frames that the page carries: one of the whole frame and one piece at full size.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/report/report.h"

namespace cv {
class Mat;
}

namespace lookdown::report {

/// JPEG bytes; empty where the frame could not be read.
struct FramePicture {
  std::string whole;  ///< the frame as displayed
  std::string piece;  ///< full-size pixels around the spot with the most detail, as displayed
};

/// One a frame, in the order of the record. Each stays within its share of the page's size, so the whole
/// does.
[[nodiscard]] std::vector<FramePicture> frame_pictures(const FlightRecord&, const Options&, RunContext&);

/// JPEG of at most `most_bytes`: quality gives way first, then size.
[[nodiscard]] std::string jpeg_within(const cv::Mat& bgr, std::int64_t most_bytes);

/// Scales down to a long side of at most `long_side_px`; never up.
[[nodiscard]] cv::Mat scaled_to_fit(const cv::Mat& bgr, int long_side_px);

/// RFC 4648 section 4.
[[nodiscard]] std::string base64(const std::string& bytes);

}  // namespace lookdown::report
