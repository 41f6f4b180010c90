#include "stages/place/place.h"

namespace lookdown::place {

void describe(Options& o, OptionVisitor& visitor) {
  visitor.option({"control-file", "ground control points: name,x,y,z"}, o.control_file);
  visitor.option({"marks-file", "where control points are seen: file,name,x_px,y_px"}, o.marks_file);
  visitor.option(
      {"control-crs", "coordinate reference system of the control, e.g. EPSG:25832; not given: local metres"},
      o.control_crs);
  visitor.option({"check-points", "control points to keep out of the fit, so that they measure the accuracy"},
                 o.check);
  visitor.option({"scale-bar", "two marks and the metres between them, as in A,B,12.50"}, o.scale_bar);
  visitor.option(
      {"gsd-m", "ground size of a mosaic pixel in metres; not given: the median of the frames", 1e-4, 100},
      o.gsd_m);
  visitor.option({"use-positions", "take scale, north and place from the camera's positions"},
                 o.use_positions);
  visitor.option(
      {"camera-positions-file",
       "table of camera positions, which go before those in Exif: file,x,y,z in --control-crs or local "
       "metres, or file,lon,lat,alt; a column sigma_m may follow"},
      o.camera_positions);
  visitor.option({"camera-height-m",
                  "camera above the ground, for a rough scale where nothing else gives one", 0.5, 10000},
                 o.height_m);
  visitor.option({"part",
                  "which part the mosaic shows, where the frames fall into parts that share no ground: 1 has "
                  "the most frames",
                  1, 10000},
                 o.part);
}

}  // namespace lookdown::place
