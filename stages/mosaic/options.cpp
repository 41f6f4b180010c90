#include <stdexcept>

#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/radiometry/tone_curve.h"

namespace lookdown::mosaic {

void describe(Options& options, OptionVisitor& visitor) {
  visitor.option(
      {.name = "prefer",
       .help =
           "which frame wins where several see a spot: best weighs ground resolution, blur, slant and glare",
       .choices = {"best", "newest", "sharpest", "straightest"}},
      options.order);
  visitor.option({.name = "gsd-m",
                  .help = "ground size of a mosaic pixel; not given: as placed",
                  .least = 1e-4,
                  .most = 100},
                 options.gsd_m);
  visitor.option(
      {.name = "compression", .help = "of mosaic.tif", .choices = {"deflate", "zstd", "lzw", "jpeg", "none"}},
      options.compression);
  visitor.option({.name = "bits",
                  .help = "a sample of mosaic.tif; 16 keeps what camera raw and other frames of more than 8 "
                          "bits hold, for editing",
                  .choices = {"8", "16"}},
                 options.bits);
  visitor.option(
      {.name = "tone-curve",
       .help =
           "curve laid over the finished mosaic, as points from,to of coded values 0 to 1: \"0,0 "
           "0.25,0.18 0.75,0.84 1,1\" deepens shadows and lifts lights; for camera raw, which looks flat"},
      options.tone_curve);
  visitor.option(
      {.name = "max-gigapixels", .help = "refuse to make a larger mosaic", .least = 0.0001, .most = 1000},
      options.max_gigapixels);
  visitor.option(
      {.name = "colour-balance", .help = "even out exposure, white balance and vignetting between frames"},
      options.colour_balance);
  visitor.option(
      {.name = "fill",
       .help = "where no kept frame sees the ground, show the least blurred of the frames that were "
               "dropped for blur alone; off: leave holes"},
      options.fill);
  visitor.option({.name = "whole-roofs",
                  .help = "show a flat roof straight down where its sides are known, out of one frame where "
                          "one sees it whole, else joined on its own plane; off: seams may cut it with a "
                          "step"},
                 options.whole_roofs);
  visitor.option({.name = "meet-at-seams",
                  .help = "bend frames by up to a few pixels along seams so that paths and edges meet; off: "
                          "every pixel where "
                          "the placement puts it"},
                 options.meet_at_seams);
  visitor.option(
      {.name = "ground-overlay", .help = "write mosaic.kmz for globe viewers, when a CRS is known"},
      options.ground_overlay);
  visitor.option({.name = "paper",
                  .help = "of the print sheet mosaic_print.pdf, made when the scale is known",
                  .choices = {"A4", "A3", "A2", "A1", "A0", "none"}},
                 options.paper);
  visitor.option(
      {.name = "print-scale",
       .help = "print at 1 : this, on several sheets if need be; 0: the largest common scale that fits one",
       .least = 0,
       .most = 1e6},
      options.print_scale);
  visitor.option(
      {.name = "title", .help = "heading of the print sheet; not given: the name of the frames' folder"},
      options.title);
  visitor.option(
      {.name = "show-plane",
       .help =
           "which plane to show straight down: 0 the ground, 1 the largest roof that placing found, 2 the "
           "next, as listed in placement.json",
       .least = 0,
       .most = 99},
      options.plane);
  visitor.option(
      {.name = "plane-height-m",
       .help =
           "height of the plane to show straight down, in place of --show-plane (metres; mosaic pixels when "
           "the scale is not known)",
       .least = -1000,
       .most = 1000},
      options.plane_height_m);
}

void check(const Options& options) {
  if (options.bits == "16" && options.compression == "jpeg")
    throw std::runtime_error(
        "--compression jpeg holds 8 bits; with --bits 16 choose deflate, zstd, lzw or none");
  try {
    (void)ToneCurve(options.tone_curve);
  } catch (const std::runtime_error& error) {
    throw std::runtime_error(std::string("--tone-curve: ") + error.what());
  }
}

}  // namespace lookdown::mosaic
