#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "stages/glare/glare.h"

namespace lookdown::glare {
namespace {

FrameRecord frame(Verdict verdict, const char* word) {
  FrameRecord made;
  made.glare = Glare{};
  made.glare->water_share = 0.4;
  made.glare->readable_water_share = 1;
  made.decision.verdict = verdict;
  made.decision.reasons = {{word, 2.5, 2.1, "px", verdict}};
  return made;
}

TEST(ForgetBlurred, AFrameDroppedForItsBlurKnowsNothingOfWater) {
  for (const char* word : {"blurred", "smeared", "blurred, by overlapping frames"}) {
    FlightRecord flight;
    flight.frames = {frame(Verdict::drop, word)};
    forget_blurred(flight, "");
    EXPECT_FALSE(flight.frames[0].glare) << word;
  }
}

TEST(ForgetBlurred, OtherFramesKeepTheirAnswer) {
  FlightRecord flight;
  flight.frames = {frame(Verdict::keep, "sharp"), frame(Verdict::unsure, "blurred in part"),
                   frame(Verdict::drop, "dark"), frame(Verdict::drop, "blurred")};
  flight.frames.back().decision.by_person = true;
  forget_blurred(flight, "");
  for (const FrameRecord& kept : flight.frames) EXPECT_TRUE(kept.glare);
}

TEST(ForgetBlurred, ItsMasksGo) {
  const std::filesystem::path folder = std::filesystem::path(testing::TempDir()) / "lookdown_forgotten_masks";
  std::filesystem::create_directories(folder);
  FlightRecord flight;
  flight.frames = {frame(Verdict::drop, "blurred")};
  flight.frames[0].glare->water_mask_file = "water.png";
  std::ofstream(folder / "water.png") << "mask";
  std::ofstream(folder / "other.png") << "mask";
  forget_blurred(flight, folder);
  EXPECT_FALSE(std::filesystem::exists(folder / "water.png"));
  EXPECT_TRUE(std::filesystem::exists(folder / "other.png"));
  std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace lookdown::glare
