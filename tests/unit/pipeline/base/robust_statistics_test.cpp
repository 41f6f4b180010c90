#include "pipeline/base/robust_statistics.h"

#include <gtest/gtest.h>

#include <cmath>

#include "pipeline/base/disjoint_sets.h"

namespace lookdown {
namespace {

TEST(RobustStatistics, TheMedianIsTheMiddleOfSortedValuesAndTheUpperOfTwo) {
  EXPECT_EQ(median<int>({7, 1, 3}), 3);
  EXPECT_EQ(median<double>({4, 1, 3, 2}), 3);
}

TEST(RobustStatistics, OfNoValuesTheCallerSaysWhatHolds) {
  EXPECT_EQ(median<double>({}), 0);
  EXPECT_EQ(median<double>({}, -1), -1);
  EXPECT_TRUE(std::isnan(quantile<double>({}, 0.1, NAN)));
}

TEST(RobustStatistics, QuantilesEndAtTheLeastAndTheGreatest) {
  const std::vector<int> values{5, 9, 2, 7, 1};
  EXPECT_EQ(quantile(values, 0.0), 1);
  EXPECT_EQ(quantile(values, 1.0), 9);
  EXPECT_EQ(quantile(values, 0.25), 2);
}

// The quartiles of a normal distribution lie 0.67449 standard deviations from its middle (any table of it):
// so far apart lie values from their median, half of them nearer and half of them farther.
TEST(RobustStatistics, TheMedianDeviationOfANormalDistributionTellsItsSigma) {
  EXPECT_NEAR(1 / kSigmaOfMad, 0.67449, 1e-4);
}

TEST(DisjointSets, LinksJoinWhateverTheirOrderAndTheSmallestMemberStandsForAll) {
  DisjointSets sets(6);
  sets.join(5, 3);
  sets.join(1, 3);
  EXPECT_EQ(sets.root_of(5), 1U);
  EXPECT_EQ(sets.root_of(3), 1U);
  EXPECT_EQ(sets.root_of(0), 0U);
  sets.join(0, 5);
  for (const std::size_t member : {0, 1, 3, 5}) EXPECT_EQ(sets.root_of(member), 0U);
  EXPECT_EQ(sets.root_of(4), 4U);
}

}  // namespace
}  // namespace lookdown
