#include "stages/glare/glare.h"

namespace lookdown::glare {

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option(
      {"lat-deg", "latitude of the place, north positive, for the sun (default: positions in the frames)",
       -90, 90},
      options.lat_deg);
  visitor.option({"lon-deg", "longitude of the place, east positive", -180, 180}, options.lon_deg);
  visitor.option(
      {"utc-offset-h",
       "hours that the camera's clock is ahead of UTC (default: the offset written in the frames)", -14, 14},
      options.utc_offset_h);
  visitor.option({"clock-offset-s", "seconds to add to the camera's clock to make it right", -1e8, 1e8},
                 options.clock_offset_s);
  visitor.option({"refractive-index", "of the water: 1.333 fresh, 1.340 sea, up to 1.38 brine", 1.0, 2.0},
                 options.refractive_index);
  visitor.option({"wind-m-s", "wind speed, for the slope of the waves (default: small-pond cap)", 0, 40},
                 options.wind_m_s);
  visitor.option({"glare-masks", "write masks/NAME_glare.png"}, options.write_masks);
}

}  // namespace lookdown::glare
