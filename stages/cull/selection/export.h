// A folder with the kept frames, for those who go on with other tools. Originals are opened for reading only,
// never moved or changed.
#pragma once

#include <filesystem>

#include "pipeline/record/flight_record.h"
#include "stages/cull/cull.h"

namespace lookdown::cull {

/// Puts every kept frame (of a covering set, only those that it needs) into `folder` as Options::collect
/// says: "copy", "hardlink" or "symlink". Does nothing for "none". A file of that name that is already there
/// is left alone when it holds the same frame, else it is a warning in the record, as is a link that the file
/// system refuses.
void export_kept(FlightRecord&, const Options&, const std::filesystem::path& folder);

}  // namespace lookdown::cull
