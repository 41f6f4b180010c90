// Frames that hang together with nothing, in flights whose frames do; what hangs together is given, as
// placing tells it.
#include "stages/cull/strangers.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <string>

namespace lookdown {
namespace {

/// One letter a frame, in order of time: p placed and tied to the placed ones next to it, g placed beyond a
/// gap (tied to no earlier frame), s not placed, w water alone, h a view of the horizon that was not placed.
FlightRecord flight_of(const std::string& letters) {
  FlightRecord flight;
  int last_placed = -1;
  for (const char letter : letters) {
    const int index = static_cast<int>(flight.frames.size());
    FrameRecord frame;
    frame.sharpness = Sharpness{};
    frame.decision.view = letter == 'h' ? View::horizon : View::nadir;
    frame.decision.verdict = Verdict::keep;
    if (letter == 'p' || letter == 'g') {
      frame.placement.placed = true;
      frame.placement.group = 0;
      if (last_placed >= 0 && letter == 'p') {
        frame.placement.neighbours.push_back(last_placed);
        flight.frames[last_placed].placement.neighbours.push_back(index);
      }
      last_placed = index;
    } else {
      frame.placement.why_not = letter == 'w' ? "only water" : "no overlap found";
    }
    flight.frames.push_back(frame);
  }
  return flight;
}

std::string told(FlightRecord flight) {
  cull::settle_strangers(flight);
  std::string marks;
  for (const FrameRecord& frame : flight.frames)
    marks += frame.decision.view == View::other && frame.decision.verdict == Verdict::unsure ? 'x' : '.';
  return marks;
}

TEST(Strangers, AreToldBeforeTheStartAmidTheFlightAndAfterTheLanding) {
  EXPECT_EQ(told(flight_of("sspppsppppppppss")), "xx...x........xx");
}

TEST(Strangers, MayBeGroundWhereTheFlightHasAGap) {
  EXPECT_EQ(told(flight_of("ppppsgpppp")), "..........");
}

TEST(Strangers, AreNotToldByWaterNorByTheHorizon) {
  EXPECT_EQ(told(flight_of("wppphppwppph")), "............");
}

TEST(Strangers, CannotBeToldInAFlightThatHardlyHangsTogether) {
  EXPECT_EQ(told(flight_of("psspsspsspsspssp")), "................");
  EXPECT_EQ(told(flight_of("pps")), "...");
}

TEST(Strangers, ThatOverlapEachOtherAloneAreStrangersStill) {
  FlightRecord flight = flight_of("ssppppppppp");
  for (int i : {0, 1}) {
    flight.frames[i].placement.placed = true;
    flight.frames[i].placement.group = 1;
    flight.frames[i].placement.neighbours = {1 - i};
  }
  EXPECT_EQ(told(flight), "xx.........");
}

TEST(Strangers, AreNoneHoweverTheyLookIfTheyHangTogetherWithOthers) {
  FlightRecord flight = flight_of("pppsppppp");
  for (int i : {3, 6}) {
    flight.frames[i].decision.view = View::other;
    flight.frames[i].decision.verdict = Verdict::unsure;
    flight.frames[i].decision.reasons.push_back(cull::unlike_the_others(2.5));
  }
  EXPECT_EQ(told(flight), "...x.....");
}

TEST(Strangers, ThatAPersonWantsAreLeftAlone) {
  FlightRecord flight = flight_of("sppppppp");
  flight.frames[0].decision.by_person = true;
  EXPECT_EQ(told(flight), "........");
}

TEST(Strangers, AreNoneWhosePlaceShowsThatTheyLookAtTheHorizon) {
  FlightRecord flight = flight_of("ppppppppps");
  Decision& last = flight.frames.back().decision;
  last.view = View::horizon;
  last.verdict = Verdict::unsure;
  last.reasons = {cull::unlike_the_others(3)};
  cull::settle_strangers(flight);
  EXPECT_EQ(last.view, View::horizon);
  EXPECT_EQ(last.verdict, Verdict::keep);
  EXPECT_TRUE(last.reasons.empty());
}

}  // namespace
}  // namespace lookdown
