// A folder of frames through inspect and place, as the program runs them.
#pragma once

#include <filesystem>

#include "painted_flight.h"
#include "pipeline/record/flight_record.h"
#include "placement_score.h"
#include "program_run.h"
#include "stages/place/place.h"

namespace lookdown {

/// Reads the frames of `folder` and places them. Without Exif the focal length starts from its stated
/// assumption.
FlightRecord place_folder(const std::filesystem::path& folder, const std::filesystem::path& out,
                          const place::Options& = {});

const FrameRecord& frame_named(const FlightRecord&, const std::string& file);

/// A small block of frames over a site large enough for it.
struct SmallFlight {
  painted::FlightChoice flight;
  painted::SiteChoice site;
  SmallFlight();
  /// Paints the site and takes the frames into `folder`, with truth.json.
  void take_into(const std::filesystem::path& folder, const std::string& prefix = "F") const;
};

}  // namespace lookdown
