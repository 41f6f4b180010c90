// report: the page a person looks at, the summary on the terminal, and sidecars for other programs. Common
// rules: the page is one self-contained file that works from disk and asks the network for nothing; every
// text that came from the card is untrusted and reaches the page as JSON only; every number has its unit;
// what is not known is said to be not known.
#pragma once

#include "pipeline/base/options/option_table.h"
#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"

namespace lookdown::report {

struct Options {
  int picture_px =
      1280;  ///< long side of a frame's picture at most; smaller where the page would grow too large
  int page_megabytes = 36;   ///< size that report.html stays below
  bool mosaic_tiles = true;  ///< cut the mosaic into tiles beside the page, which then zooms in to full size
  bool full_size_crops = true;  ///< a piece of each frame at full size, to judge sharpness by eye
  bool sidecars = false;        ///< also write sidecars/NAME.xmp
  std::string marks_file;       ///< marks.csv as given to place, shown and corrected on the page; empty: none
};
void describe(Options&, OptionVisitor&);

/// Writes report.html and mosaic_tiles/ below context.out, and the sidecars when asked for. Without a mosaic,
/// a placement or any of the later findings the page shows what there is.
void write(const FlightRecord&, const Options&, RunContext&);

/// How a command ran, for what it says at its end.
struct RunWords {
  std::string command;                 ///< "run", "cull", ...
  std::filesystem::path out;           ///< the output folder as it was given
  std::vector<std::string> written;    ///< by this run, names below `out`
  std::vector<std::string> left = {};  ///< by earlier ones
};

/// What a command says at its end, for a person, in at most 80 columns (paths apart) and, unless the files
/// alone need more, in at most 24 lines: what the command is for, what to know, every file that was written
/// and what to do next. Ends with a line break. Control characters of file names are replaced, so that a name
/// cannot steer a terminal.
[[nodiscard]] std::string summary(const FlightRecord&, const RunWords&);

/// The same as one JSON object on one line.
[[nodiscard]] std::string summary_json(const FlightRecord&, const RunWords&);

}  // namespace lookdown::report
