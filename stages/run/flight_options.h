// The options of a whole run, gathered from its stages.
#pragma once

#include <string>

#include "pipeline/base/options/option_json.h"
#include "stages/cull/cull.h"
#include "stages/glare/glare.h"
#include "stages/inspect/inspect.h"
#include "stages/level/level.h"
#include "stages/mosaic/mosaic.h"
#include "stages/place/place.h"
#include "stages/rectify/rectify.h"
#include "stages/report/report.h"
#include "stages/surface/surface.h"

namespace lookdown {

/// Options of every stage of a run.
struct FlightOptions {
  inspect::Options inspect;
  cull::Options cull;
  level::Options level;
  glare::Options glare;
  place::Options place;
  surface::Options surface;
  mosaic::Options mosaic;
  report::Options report;
  level::CopyOptions copies;
  rectify::Options rectify;
  bool look_for_horizon = true;  ///< else a glance at the reduced frame tells whether it shows one
  bool look_for_glare = true;
  std::string choices_file;      ///< choices.csv: a person's verdicts
  std::string sun_marks_file;    ///< where a person saw the sun mirrored and the camera's shadow; empty: none
  bool levelled_copies = false;  ///< write levelled/ for frames with a horizon
  bool deglinted_copies = false;  ///< write deglinted/ for placed frames with glare
  bool rectified_copies = false;  ///< write rectified/ for placed obliques
};
void describe(FlightOptions&, OptionVisitor&);
/// All but those of the page.
void describe_without_page(FlightOptions&, OptionVisitor&);
/// The one option `sun_marks_file`, for commands that do not take them all.
void describe_sun_marks(FlightOptions&, OptionVisitor&);

}  // namespace lookdown
