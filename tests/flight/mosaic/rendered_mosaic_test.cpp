// The mosaic of rendered flights, placed by their truth, against the straight-down truth picture. Scenes and
// seeds here are for checking only; limits are those that the mosaic was asked to keep.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <string>

#include "pipeline/record/run_context.h"
#include "stages/mosaic/mosaic.h"
#include "tests/bench/mosaic/against_truth.h"
#include "tests/bench/mosaic/truth_flight.h"

namespace lookdown {
namespace {

class RenderedMosaic : public testing::TestWithParam<const char*> {
 protected:
  RenderedMosaic()
      : folder_(std::filesystem::temp_directory_path() /
                ("lookdown-rendered-" + std::to_string(::getpid()))) {}
  ~RenderedMosaic() override {
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }
  std::filesystem::path folder_;
};

TEST_P(RenderedMosaic, KeepsItsLimits) {
  const std::string render = std::string(LOOKDOWN_RENDER_FLIGHT) + " " + GetParam() +
                             " --count 9 --width 560 --height 374 --samples 1 --masks --ground --ground-gsd "
                             "0.04 --launch 0 --obliques 0 -o " +
                             (folder_ / "flight").string() + " > /dev/null";
  ASSERT_EQ(std::system(render.c_str()), 0);
  FlightRecord flight = bench::flight_from_truth(folder_ / "flight", 0, {}, true, false);
  const FrameReader reader;
  const Scheduler scheduler({2, 1'000'000'000});
  const Cache cache{""};
  Progress progress(false);
  RunContext context{folder_ / "out", reader, scheduler, cache, progress};
  std::filesystem::create_directories(context.out);
  mosaic::Options options;
  options.ground_overlay = false;
  mosaic::build(flight, options, context);
  ASSERT_TRUE(flight.mosaic);
  EXPECT_GT(flight.mosaic->covered_share, 0.3);

  const bench::Measures found = bench::measure_against_truth(flight, folder_ / "flight", context.out);
  ASSERT_TRUE(found.geometry && found.colour && found.seams && found.detail && found.glare);
  EXPECT_GE(found.geometry->patches, 6);
  EXPECT_LE(found.geometry->rmse_px, 1.2);
  EXPECT_LE(found.colour->median_ciede2000, 3);
  EXPECT_LE(found.seams->gradient_ratio, 1.15);
  EXPECT_GT(found.seams->seam_share, 0);
  EXPECT_GE(found.detail->mtf50_mosaic, 0.9 * found.detail->mtf50_best_frame);
  // Where every frame has glare some must stay; of the rest at most what a pixel's rounding at the rims of
  // masks leaves.
  EXPECT_LE(found.glare->avoidable_px, 0.02 * found.glare->feathered_px + 50);
  EXPECT_LE(found.glare->glare_px - found.glare->unavoidable_px, 0.2 * found.glare->feathered_px + 50);
}

INSTANTIATE_TEST_SUITE_P(Scenes, RenderedMosaic,
                         testing::Values("--scene pans --seed 211 --sun-elevation 58",
                                         "--scene marsh --seed 212"));

}  // namespace
}  // namespace lookdown
