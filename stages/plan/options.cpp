#include "stages/plan/plan.h"

namespace lookdown::plan {

void describe(Options& o, OptionVisitor& visitor) {
  visitor.option({"lat-deg", "latitude of the place, north positive", -90, 90}, o.lat_deg);
  visitor.option({"lon-deg", "longitude of the place, east positive", -180, 180}, o.lon_deg);
  visitor.option({"from",
                  "output folder of an earlier run: its camera, place, height and smear stand in for what "
                  "is not given, and what it teaches is said"},
                 o.from);
  visitor.option({"date", "day of the flight, YYYY-MM-DD; not given: today"}, o.date);
  visitor.option(
      {"utc-offset-h", "hours that the local clock is ahead of UTC (default: times in UTC)", -14, 14},
      o.utc_offset_h);
  visitor.option({"step-min", "minutes between the rows", 1, 240}, o.step_min);
  visitor.option({"subject", "what is looked at", 0, 0, {"water", "roof"}}, o.surface);
  visitor.option({"subject-height-m", "its height above the ground, as of a roof", 0, 500},
                 o.surface_height_m);
  visitor.option({"camera-height-m", "camera above the ground", 0.5, 500}, o.height_m);
  visitor.option({"focal-mm", "true focal length of the lens (not the 35 mm equivalent)", 0.5, 1000},
                 o.focal_mm);
  visitor.option({"pixel-um", "distance of the sensor's pixels", 0.3, 50}, o.pixel_um);
  visitor.option({"frame-width-px", "width of the frame", 16, 100000}, o.width_px);
  visitor.option({"frame-height-px", "height of the frame", 16, 100000}, o.height_px);
  visitor.option({"f-number", "aperture", 0.5, 64}, o.f_number);
  visitor.option({"focus-m", "distance the lens is focused at (default: the subject)", 0.05, 1e6}, o.focus_m);
  visitor.option({"blur-circle-px", "blur that still counts as sharp, for the depth of field", 0.1, 50},
                 o.blur_circle_px);
  visitor.option({"shutter-s", "exposure time", 1e-6, 60}, o.shutter_s);
  visitor.option({"wind-m-s", "wind speed, for the slope of the waves", 0, 40}, o.wind_m_s);
  visitor.option({"pond", "short fetch: cap the slope of the waves"}, o.pond);
  visitor.option({"refractive-index", "of the water: 1.333 fresh, 1.340 sea, up to 1.38 brine", 1, 2},
                 o.refractive_index);
  visitor.option({"drift-m-s", "speed of the camera over ground", 0, 100}, o.drift_m_s);
  visitor.option({"swing-deg", "amplitude of the camera's swing", 0, 90}, o.swing_deg);
  visitor.option({"swing-period-s", "time of one full swing", 0.05, 1000}, o.swing_period_s);
  visitor.option({"forward-overlap-percent", "wanted along the path", 0, 95}, o.forward_overlap_percent);
  visitor.option({"side-overlap-percent", "wanted between neighbouring paths", 0, 95},
                 o.side_overlap_percent);
  visitor.option({"area-length-m", "of the area to cover", 0.1, 1e5}, o.area_length_m);
  visitor.option({"area-width-m", "of the area to cover", 0.1, 1e5}, o.area_width_m);
}

}  // namespace lookdown::plan
