// score_placement TRUTH.json PLACEMENT.json [-v]: how well a rendered flight was placed and its flat roofs
// were found.
#include <cstdio>
#include <cstring>
#include <exception>

#include "plane_score.h"

int main(int argc, char** argv) {
  if (argc < 3) {
    std::fprintf(stderr, "score_placement TRUTH.json PLACEMENT.json [-v]\n");
    return 2;
  }
  try {
    const auto s = lookdown::bench::score_placement(argv[1], argv[2]);
    if (argc > 3 && std::strcmp(argv[3], "-v") == 0)
      for (const auto& f : s.frames)
        std::printf("%-16s %-8s %-6s %s group %d  %4d points  rmse %8.2f px  tilt error %6.2f deg  %s\n",
                    f.file.c_str(), f.kind.c_str(), f.sharp ? "sharp" : "blurred",
                    f.placed ? "placed" : "   -  ", f.group, f.points, f.rmse_px, f.off_nadir_error_deg,
                    f.why_not.c_str());
    std::printf("frames %zu  placed %d  groups %d  sharp nadir in first group %d of %d\n", s.frames.size(),
                s.placed, s.groups, s.sharp_nadir_in_first_group, s.sharp_nadir);
    const auto planes = lookdown::bench::score_planes(argv[1], argv[2], s);
    for (const auto& p : planes.found)
      std::printf(
          "plane at %.3f +- %.3f, %.0f %% of its outline on a roof of %.3f (%+.2f %%), %.0f %% of its area\n",
          p.height, p.sigma, 100 * p.share_inside, p.true_height,
          p.true_height != 0 ? 100 * (p.height / p.true_height - 1) : 0.0, 100 * p.area_share);
    if (planes.true_roofs > 0 || !planes.found.empty())
      std::printf("roofs found %d of %d\n", planes.true_roofs_found, planes.true_roofs);
    std::printf(
        "rmse %.3f px  worst frame %.2f px  tilt error median %.3f deg  focal %+.2f %%  scale %+.3f %%\n",
        s.rmse_px, s.worst_frame_rmse_px, s.median_off_nadir_error_deg, 100 * s.focal_error_share,
        100 * s.gsd_error_share);
    const auto space = lookdown::bench::score_space(argv[1], argv[2]);
    if (space.points >= 4)
      std::printf(
          "in space: %d points  rmse %.2f pixels of ground  horizontal %.2f  vertical %.2f  median %.2f  95 "
          "%% %.2f\n",
          space.points, space.rmse_m / space.gsd_m, space.horizontal_m / space.gsd_m,
          space.vertical_m / space.gsd_m, space.median_m / space.gsd_m, space.p95_m / space.gsd_m);
  } catch (const std::exception& e) {
    std::fprintf(stderr, "%s\n", e.what());
    return 1;
  }
}
