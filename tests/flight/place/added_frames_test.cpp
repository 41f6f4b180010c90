// Frames added to a flight that was placed before.
#include <gtest/gtest.h>

#include "placed_flight.h"
#include "stages/place/pairs/match_cache.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;

TEST(AddedFrames, APlacementThatRemembersPairsIsTheOneThatDoesNot) {
  const TemporaryFolder folder;
  const fs::path frames = folder.path() / "frames", later = folder.path() / "later";
  SmallFlight f;
  f.flight.seed = f.site.seed = 51;
  f.take_into(frames);
  fs::create_directories(later);
  for (const char* name : {"F004.jpg", "F009.jpg"}) fs::rename(frames / name, later / name);
  place_folder(frames, folder.path() / "out");
  for (const char* name : {"F004.jpg", "F009.jpg"}) fs::rename(later / name, frames / name);
  place_folder(frames, folder.path() / "out");
  place_folder(frames, folder.path() / "fresh");
  EXPECT_EQ(bytes_of(folder.path() / "out" / "placement.json"),
            bytes_of(folder.path() / "fresh" / "placement.json"));
}

place::TieFrame frame_with_spots(std::uint8_t shade) {
  place::TieFrame frame;
  frame.camera.fx_px = frame.camera.fy_px = 700;
  frame.features.spots = {{10, 20, 3, 0.5F}, {30, 40, 5, 1.5F}};
  frame.features.descriptors.assign(2 * place::kDescriptorBytes, shade);
  return frame;
}

TEST(AddedFrames, APairIsRememberedUntilOneOfItsFramesOrTheQuestionChanges) {
  const TemporaryFolder folder;
  const Cache cache(folder.path() / ".cache");
  place::Tie tie;
  tie.a = 0;
  tie.b = 1;
  tie.b_from_a.matrix << 1.25, 0.5, -3, 0.125, 0.75, 7, 1e-4, 2e-5, 1;
  tie.matches = {{0, 1}, {1, 0}};
  const std::vector<place::TieFrame> before{frame_with_spots(10), frame_with_spots(20)};
  place::PairMemory first(cache, before);
  EXPECT_FALSE(first.recall(0, 1, "one look"));
  first.learn(0, 1, "one look", tie);
  first.learn(0, 1, "two looks", std::nullopt);
  first.keep();

  // A frame that comes in between moves the others along.
  const std::vector<place::TieFrame> after{frame_with_spots(10), frame_with_spots(99), frame_with_spots(20)};
  const place::PairMemory second(cache, after);
  const auto known = second.recall(0, 2, "one look");
  ASSERT_TRUE(known && *known);
  EXPECT_EQ((*known)->a, 0);
  EXPECT_EQ((*known)->b, 2);
  EXPECT_EQ((*known)->b_from_a.matrix, tie.b_from_a.matrix);
  ASSERT_EQ((*known)->matches.size(), 2U);
  EXPECT_EQ((*known)->matches[1].a, 1);
  EXPECT_EQ((*known)->matches[1].b, 0);
  const auto none = second.recall(0, 2, "two looks");
  ASSERT_TRUE(none);
  EXPECT_FALSE(*none);
  EXPECT_FALSE(second.recall(0, 1, "one look"));
  EXPECT_FALSE(second.recall(0, 2, "three looks"));
}

}  // namespace
}  // namespace lookdown
