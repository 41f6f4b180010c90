// paint_flight KIND OUT [SEED]: a made-up flight of one class of difficulty over painted ground, with truth.json, for place_flight and
// score_placement. KIND: plain, thin (0.25 overlap), swing (12 degrees), scales (1:3), exposure (2 stops either way), slabs (ground that
// repeats itself), roofs (sheds with ribbed roofs), ponds (moving water), barrel (strong distortion), portrait (turned pictures), blurred, rig (a part of the rig in view).
#include <cstdio>
#include <cstdlib>
#include <string>

#include "painted_flight.h"

namespace {

struct Kind {
  painted::FlightChoice flight;
  painted::SiteChoice site;
};

bool choose(const std::string& kind, Kind& k) {
  painted::FlightChoice& f = k.flight;
  if (kind == "plain") return true;
  if (kind == "thin") f.overlap = 0.25, f.swing_deg = 2;
  if (kind == "swing") f.swing_deg = 6, f.overlap = 0.5;
  if (kind == "scales") f.height_ratio = 3;
  if (kind == "exposure") f.exposure_stops = 2;
  if (kind == "slabs") k.site.rows_of_tiles = true;
  if (kind == "roofs") k.site.sheds = 7;
  if (kind == "ponds") k.site.ponds = 8;
  if (kind == "barrel") f.k1 = -0.28, f.k2 = 0.08;
  if (kind == "portrait") f.portrait_share = 0.4;
  if (kind == "blurred") f.blurred_share = 0.25;
  if (kind == "rig") f.rig_in_view = true;
  static const std::string known[] = {"thin", "swing", "scales", "exposure", "slabs", "roofs", "ponds", "barrel", "portrait", "blurred", "rig"};
  for (const std::string& word : known)
    if (word == kind) return true;
  return false;
}

}  // namespace

int main(int argc, char** argv) {
  Kind kind;
  kind.flight.columns = 5;
  kind.flight.rows = 4;
  if (argc < 3 || !choose(argv[1], kind)) {
    std::fprintf(stderr, "paint_flight plain|thin|swing|scales|exposure|slabs|roofs|ponds|barrel|portrait|blurred|rig OUT [SEED]\n");
    return 2;
  }
  if (argc > 3) kind.flight.seed = kind.site.seed = unsigned(std::atoi(argv[3]));
  const cv::Size2d extent = painted::covered(kind.flight);
  kind.site.width = extent.width;
  kind.site.height = extent.height;
  painted::take_all(painted::paint_site(kind.site), painted::camera_of(kind.flight), painted::fly(kind.flight), argv[2]);
}
