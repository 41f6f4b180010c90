#include "stages/run/flight_options.h"

namespace lookdown {

void describe_sun_marks(FlightOptions& options, OptionVisitor& visitor) {
  visitor.option({"sun-marks-file",
                  "table of marks (columns file, what, x_px, y_px; what is mirror or shadow): the sun "
                  "mirrored on level water and the camera's own shadow; "
                  "both in one frame give its tilt"},
                 options.sun_marks_file);
}

void describe_without_page(FlightOptions& options, OptionVisitor& visitor) {
  inspect::describe(options.inspect, visitor);
  cull::describe(options.cull, visitor);
  level::describe(options.level, visitor);
  glare::describe(options.glare, visitor);
  place::describe(options.place, visitor);
  surface::describe(options.surface, visitor);
  mosaic::describe(options.mosaic, visitor);
  visitor.option(
      {"choices-file", "table of a person's verdicts (columns file, verdict), which beat the program's"},
      options.choices_file);
  describe_sun_marks(options, visitor);
  visitor.option({"levelled-copies", "write levelled copies of the frames that show a horizon"},
                 options.levelled_copies);
  visitor.option(
      {"deglinted-copies", "write copies of the frames with glare filled from other frames' real pixels"},
      options.deglinted_copies);
  visitor.option({"rectified-copies", "write placed obliques laid onto the ground"},
                 options.rectified_copies);
}

void describe(FlightOptions& options, OptionVisitor& visitor) {
  describe_without_page(options, visitor);
  report::describe(options.report, visitor);
}

}  // namespace lookdown
