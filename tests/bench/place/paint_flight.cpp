// paint_flight KIND OUT [SEED] [--frames COLUMNS ROWS] [--size WIDTH HEIGHT] [--unit PIXELS]: a made-up
// flight of one class of difficulty over painted ground, with truth.json, for place_flight and
// score_placement. KIND: plain, thin (0.25 overlap), swing (12 degrees), scales (1:3), exposure (2 stops
// either way), slabs (ground that repeats itself), roofs (sheds with ribbed roofs), litter (sheds with
// littered roofs), gables (sheds with pitched roofs), valley, slope, dike, heap and mixed (ground with
// relief), farm (a valley with a river, pitched roofs and trees under drifting clouds, through a soft lens),
// estate (a farm with dry-stone walls), orchard (trees on flat ground), ponds (moving water), barrel (strong
// distortion), fisheye (equidistant), portrait (turned pictures), blurred, rig (a part of the rig in view).
// 20 frames of 800 x 600 pixels unless said; --unit: pixels that show one unit of the painted ground (1),
// larger for pictures too large to paint in full detail;
// --relief: height of the relief as a share of the flying height (0.25).
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
  if (kind == "litter") k.site.sheds = 4, k.site.littered_roofs = true;
  if (kind == "ponds") k.site.ponds = 8;
  if (kind == "barrel") f.k1 = -0.28, f.k2 = 0.08;
  if (kind == "fisheye") f.fisheye = true, f.focal_px = 0.56 * f.width_px;
  if (kind == "portrait") f.portrait_share = 0.4;
  if (kind == "blurred") f.blurred_share = 0.25;
  if (kind == "rig") f.rig_in_view = true;
  if (kind == "gables") k.site.sheds = 7, k.site.ridge_height = 60, k.site.littered_roofs = true;
  for (const char* relief : {"valley", "slope", "dike", "heap", "mixed"})
    if (kind == relief) k.site.relief = relief, k.site.relief_height = 0.25 * f.focal_px;
  if (kind == "mixed") k.site.sheds = 4, k.site.ridge_height = 50, k.site.littered_roofs = true;
  if (kind == "orchard") k.site.trees = 70;
  if (kind == "farm" || kind == "estate") {
    k.site.relief = "valley", k.site.relief_height = 0.14 * f.focal_px;
    k.site.sheds = 4, k.site.shed_height = 60, k.site.ridge_height = 40, k.site.littered_roofs = true;
    k.site.trees = 40, k.site.river = true;
    if (kind == "estate") k.site.walls = 8;
    f.cloud_shadow = 0.4, f.soft_corners_px = 1.2, f.photon_noise = 0.08, f.overlap = 0.65, f.swing_deg = 3;
  }
  static const std::string known[] = {"thin",   "swing",  "scales", "exposure", "slabs",    "roofs",
                                      "litter", "ponds",  "barrel", "fisheye",  "portrait", "blurred",
                                      "rig",    "gables", "valley", "slope",    "dike",     "heap",
                                      "mixed",  "farm",   "estate", "orchard"};
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
    std::fprintf(stderr,
                 "paint_flight "
                 "plain|thin|swing|scales|exposure|slabs|roofs|litter|ponds|barrel|portrait|blurred|rig|"
                 "gables|valley|slope|dike|heap|mixed|farm|estate|orchard OUT "
                 "[SEED] [--frames C R] [--size W H] [--unit PX] [--relief SHARE] [--lens K1 K2]\n");
    return 2;
  }
  painted::FlightChoice& flight = kind.flight;
  for (int i = 3; i < argc; ++i) {
    const std::string word = argv[i];
    const auto next = [&] { return ++i < argc ? std::atof(argv[i]) : 0; };
    if (word == "--frames") {
      flight.columns = int(next()), flight.rows = int(next());
    } else if (word == "--size") {
      const double focal_share = flight.focal_px / flight.width_px;
      flight.width_px = int(next()), flight.height_px = int(next());
      flight.focal_px = focal_share * flight.width_px;
    } else if (word == "--unit") {
      flight.unit_px = next();
    } else if (word == "--lens") {
      flight.k1 = next(), flight.k2 = next();
    } else if (word == "--relief") {
      kind.site.relief_height = next() * flight.focal_px;
    } else {
      flight.seed = kind.site.seed = unsigned(std::atoi(argv[i]));
    }
  }
  const cv::Size2d extent = painted::covered(flight);
  kind.site.width = extent.width;
  kind.site.height = extent.height;
  painted::take_all(painted::paint_site(kind.site), painted::camera_of(flight), painted::fly(flight),
                    argv[2]);
}
