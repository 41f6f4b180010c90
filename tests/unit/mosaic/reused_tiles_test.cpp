// Tiles taken from the mosaic that an earlier run left: exactly those whose inputs have not changed, and what
// comes out is what a run that finds nothing makes.
#include <gtest/gtest.h>

#include <fstream>
#include <functional>
#include <iterator>
#include <opencv2/imgcodecs.hpp>

#include "pipeline/base/files/file_digest.h"
#include "stages/mosaic/mosaic.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

using test::make_small_flight;
using test::SmallFlight;

constexpr int kTiles = 2;  // of 1024 px: twelve frames in a row are 1590 px wide

/// One frame with glare that others can fill near each end of the row.
SmallFlight row_of_frames() {
  test::SmallFlightPlan plan{.columns = 12, .rows = 1};
  plan.glare.resize(12);
  plan.glare[2] = plan.glare[11] = {100, 60, 20, 20};
  SmallFlight flight = make_small_flight(plan);
  for (FrameRecord& frame : flight.record.frames)
    frame.source.content_hash = digest_of_file(frame.source.path);
  return flight;
}

TileCount build_with(SmallFlight& flight, const Options& options, bool remembers) {
  const FrameReader reader;
  const Scheduler scheduler({2, 1'000'000'000});
  const Cache cache{remembers ? flight.out / ".cache" : ""};
  Progress progress(false);
  RunContext context{flight.out, reader, scheduler, cache, progress};
  return build(flight.record, options, context);
}

std::string read_whole(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// Tiles reused when `change` comes between two runs. The second one's files must be those of a run without
/// memory.
int reused_after(const std::function<void(SmallFlight&, Options&)>& change, Options options = {}) {
  SmallFlight flight = row_of_frames();
  EXPECT_EQ(build_with(flight, options, true).reused, 0);
  change(flight, options);
  const TileCount count = build_with(flight, options, true);
  EXPECT_EQ(count.all, kTiles);
  const std::string colours = read_whole(flight.out / "mosaic.tif"),
                    sources = read_whole(flight.out / "mosaic_sources.tif"),
                    glare = read_whole(flight.out / "mosaic_glare.tif");
  build_with(flight, options, false);
  EXPECT_TRUE(read_whole(flight.out / "mosaic.tif") == colours);
  EXPECT_TRUE(read_whole(flight.out / "mosaic_sources.tif") == sources);
  EXPECT_TRUE(read_whole(flight.out / "mosaic_glare.tif") == glare);
  return count.reused;
}

TEST(ReusedTiles, AllOfThemWhenNothingChanged) {
  EXPECT_EQ(reused_after([](SmallFlight&, Options&) {}), kTiles);
}

TEST(ReusedTiles, NotThoseThatShowADroppedFrame) {
  EXPECT_EQ(reused_after([](SmallFlight& flight, Options&) {
              flight.record.frames[1].decision.verdict = Verdict::drop;
              flight.record.frames[1].decision.by_person = true;
            }),
            1);
}

TEST(ReusedTiles, NotThoseWhoseGlareHasChanged) {
  const auto more_glare = [](SmallFlight& flight, Options&) {
    const auto file = (flight.out / flight.record.frames[11].glare->mask_file).string();
    cv::Mat mask = cv::imread(file, cv::IMREAD_GRAYSCALE);
    mask(cv::Rect(100, 60, 40, 20)).setTo(255);
    cv::imwrite(file, mask);
  };
  Options options;
  options.colour_balance = false;  // colours are solved where no glare is
  EXPECT_EQ(reused_after(more_glare, options), 1);
}

TEST(ReusedTiles, NotThoseThatADroppedFrameHadFilled) {
  EXPECT_EQ(reused_after([](SmallFlight& flight, Options&) {
              flight.record.frames[10].decision.verdict = Verdict::drop;  // sees the glare of frame 11 clean
              flight.record.frames[10].decision.by_person = true;
            }),
            1);
}

TEST(ReusedTiles, NoneUnderAnotherToneCurve) {
  EXPECT_EQ(reused_after([](SmallFlight&, Options& options) { options.tone_curve = "0,0 0.5,0.4 1,1"; }), 0);
}

TEST(ReusedTiles, NoneWhenTheProgramItselfDropsAFrameAndAllColoursAreSolvedAnew) {
  EXPECT_EQ(reused_after([](SmallFlight& flight, Options&) {
              flight.record.frames[1].decision.verdict = Verdict::drop;
              flight.record.frames[1].decision.reasons.push_back(
                  {"too dark", std::nullopt, std::nullopt, "", Verdict::drop});
            }),
            0);
}

TEST(ReusedTiles, NoneOfAFileThatSomethingElseHasTouched) {
  EXPECT_EQ(reused_after([](SmallFlight& flight, Options&) {
              std::ofstream(flight.out / "mosaic.tif", std::ios::app | std::ios::binary) << 'x';
            }),
            0);
}

}  // namespace
}  // namespace lookdown::mosaic
