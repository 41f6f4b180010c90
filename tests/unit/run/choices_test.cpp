#include "stages/run/inputs/choices.h"

#include <gtest/gtest.h>

namespace lookdown {
namespace {

FlightRecord flight_of(Verdict first, Verdict second) {
  FlightRecord record;
  record.frames.resize(2);
  record.frames[0].source.file = "a.jpg";
  record.frames[1].source.file = "b.jpg";
  record.frames[0].decision.verdict = first;
  record.frames[1].decision.verdict = second;
  return record;
}

TEST(Choices, BeforePlacingOnlyRescuedFramesChange) {
  FlightRecord record = flight_of(Verdict::keep, Verdict::drop);
  apply_rescues(record, {{"a.jpg", Verdict::drop}, {"b.jpg", Verdict::keep}});
  EXPECT_EQ(record.frames[0].decision.verdict, Verdict::keep);
  EXPECT_FALSE(record.frames[0].decision.by_person);
  EXPECT_EQ(record.frames[1].decision.verdict, Verdict::keep);
  EXPECT_TRUE(record.frames[1].decision.by_person);
}

TEST(Choices, AreSaidOnceHoweverOftenTheyArePut) {
  FlightRecord record = flight_of(Verdict::keep, Verdict::drop);
  const Choices choices{{"a.jpg", Verdict::drop}, {"b.jpg", Verdict::keep}, {"c.jpg", Verdict::drop}};
  apply_rescues(record, choices);
  apply_choices(record, choices);
  apply_choices(record, choices);
  EXPECT_EQ(record.frames[0].decision.verdict, Verdict::drop);
  EXPECT_EQ(record.frames[0].decision.reasons.size(), 1U);
  EXPECT_EQ(record.frames[1].decision.reasons.size(), 1U);
  ASSERT_EQ(record.warnings.size(), 1U);
  EXPECT_NE(record.warnings[0].find("c.jpg"), std::string::npos);
}

TEST(Choices, WhatCannotBeReadCannotBeKept) {
  FlightRecord record = flight_of(Verdict::keep, Verdict::drop);
  record.frames[1].fault = "ends after 31 of 1067 rows";
  apply_choices(record, {{"b.jpg", Verdict::keep}});
  EXPECT_EQ(record.frames[1].decision.verdict, Verdict::drop);
}

}  // namespace
}  // namespace lookdown
