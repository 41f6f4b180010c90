// What a mosaic's steps keep for later runs: found again to the bit where nothing of what they are made from
// has changed, and not where something has.
#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/base/files/file_digest.h"
#include "pipeline/record/program_verdict.h"
#include "stages/mosaic/overview/kept_views.h"
#include "stages/mosaic/seams/kept_ties.h"
#include "tests/unit/mosaic/small_flight.h"

namespace lookdown::mosaic {
namespace {

using test::make_small_flight;
using test::SmallFlight;

SmallFlight flight_with_glare() {
  test::SmallFlightPlan plan{.gains = {{1, 1, 1}, {1.2, 1.1, 1}}};
  plan.glare.resize(6);
  plan.glare[2] = {100, 60, 20, 20};
  SmallFlight flight = make_small_flight(plan);
  for (FrameRecord& frame : flight.record.frames)
    frame.source.content_hash = digest_of_file(frame.source.path);
  return flight;
}

/// A run that remembers.
struct RememberingRun {
  SmallFlight& flight;
  FrameReader reader;
  Scheduler scheduler{{2, 1'000'000'000}};
  Cache cache{flight.out / ".cache"};
  Progress progress{false};
  RunContext context{flight.out, reader, scheduler, cache, progress};
  Canvas canvas = plan_canvas(flight.record.placement, std::nullopt);
  Options options = {};

  explicit RememberingRun(SmallFlight& given) : flight(given) {}
  PreparedViews prepared() { return prepare_views(flight.record, canvas, std::nullopt, options, context); }
  [[nodiscard]] std::optional<PreparedViews> kept() const {
    return KeptViews(flight.record, canvas, std::nullopt, options, context).find();
  }
};

void drop_by_hand(FrameRecord& frame) {
  frame.decision.verdict = Verdict::drop;
  frame.decision.by_person = true;
  frame.decision.reasons.insert(frame.decision.reasons.begin(), {"chosen by hand", {}, {}, ""});
}

bool same(const cv::Mat& a, const cv::Mat& b) {
  return a.size() == b.size() && a.type() == b.type() && (a.empty() || cv::norm(a, b, cv::NORM_INF) == 0);
}

void expect_same(const PreparedViews& a, const PreparedViews& b) {
  ASSERT_EQ(a.views.size(), b.views.size());
  EXPECT_EQ(a.some_upright, b.some_upright);
  EXPECT_EQ(a.heights->heights, b.heights->heights);
  EXPECT_EQ(a.heights->wall, b.heights->wall);
  EXPECT_EQ(a.leaning.size(), b.leaning.size());
  EXPECT_EQ(a.survey.cell_px, b.survey.cell_px);
  for (std::size_t i = 0; i < a.views.size(); ++i) {
    const SurveyFrame &one = a.survey.frames[i], &other = b.survey.frames[i];
    EXPECT_EQ(one.box, other.box);
    EXPECT_TRUE(same(one.bgr, other.bgr));
    EXPECT_TRUE(same(one.usable, other.usable));
    EXPECT_TRUE(same(one.dislike, other.dislike));
    EXPECT_TRUE(same(one.glare, other.glare));
    EXPECT_TRUE(same(a.views[i].hidden, b.views[i].hidden));
    EXPECT_TRUE(same(a.views[i].riding, b.views[i].riding));
    EXPECT_EQ(a.colours[i].log_gain, b.colours[i].log_gain);
    EXPECT_EQ(a.colours[i].vignetting, b.colours[i].vignetting);
    EXPECT_TRUE(same(a.colours[i].log_field, b.colours[i].log_field));
    EXPECT_EQ(a.colours[i].half_diagonal_px, b.colours[i].half_diagonal_px);
  }
}

TEST(KeptViews, AreFoundToTheBitWhenAPersonDropsAFrame) {
  SmallFlight flight = flight_with_glare();
  RememberingRun run(flight);
  EXPECT_FALSE(run.kept());
  const PreparedViews made = run.prepared();
  drop_by_hand(flight.record.frames[1]);
  const auto found = run.kept();
  ASSERT_TRUE(found);
  expect_same(made, *found);
  EXPECT_TRUE(found->views[1].set_aside);
  // And they are what looking anew would tell.
  std::filesystem::remove_all(flight.out / ".cache");
  expect_same(run.prepared(), *found);
}

TEST(KeptViews, AreFoundToTheBitOverARoofThatStandsUpright) {
  SmallFlight flight = make_small_flight({.columns = 4, .rows = 3});
  const cv::Rect2d place(190, 150, 130, 90);
  constexpr double kHeightPx = 26;
  (void)test::put_roof(flight, place, kHeightPx);
  RaisedPlane plane;
  plane.height = kHeightPx * *flight.record.placement.gsd_m;
  plane.outlines_px = {{{place.x + 8, place.y + 8},
                        {place.br().x - 8, place.y + 8},
                        {place.br().x - 8, place.br().y - 8},
                        {place.x + 8, place.br().y - 8}}};
  flight.record.placement.raised_planes = {plane};
  flight.record.placement.plane_heights = {0, plane.height};
  RememberingRun run(flight);
  const PreparedViews made = run.prepared();
  ASSERT_TRUE(made.some_upright);
  drop_by_hand(flight.record.frames[5]);
  const auto found = run.kept();
  ASSERT_TRUE(found);
  expect_same(made, *found);
  std::filesystem::remove_all(flight.out / ".cache");
  expect_same(run.prepared(), *found);
}

TEST(KeptViews, AreNotFoundWhenTheProgramItselfDropsAFrame) {
  SmallFlight flight = flight_with_glare();
  RememberingRun run(flight);
  (void)run.prepared();
  flight.record.frames[1].decision.verdict = Verdict::drop;
  flight.record.frames[1].decision.reasons.push_back({"too dark", {}, {}, "", Verdict::drop});
  EXPECT_FALSE(run.kept());
}

TEST(KeptViews, AreNotFoundWhenAMaskOfGlareHasChanged) {
  SmallFlight flight = flight_with_glare();
  RememberingRun run(flight);
  (void)run.prepared();
  const auto file = (flight.out / flight.record.frames[2].glare->mask_file).string();
  cv::Mat mask = cv::imread(file, cv::IMREAD_GRAYSCALE);
  mask(cv::Rect(0, 0, 8, 8)).setTo(255);
  cv::imwrite(file, mask);
  EXPECT_FALSE(run.kept());
}

TEST(KeptViews, AreNotFoundWithoutThePartOfOneFrame) {
  SmallFlight flight = flight_with_glare();
  RememberingRun run(flight);
  (void)run.prepared();
  std::size_t entries = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(flight.out / ".cache"))
    entries += entry.is_regular_file();
  ASSERT_EQ(entries, 1 + flight.record.frames.size());
  for (const auto& entry : std::filesystem::recursive_directory_iterator(flight.out / ".cache"))
    if (entry.is_regular_file()) {
      const auto aside = flight.out / "aside";
      std::filesystem::rename(entry.path(), aside);
      EXPECT_FALSE(run.kept());
      std::filesystem::rename(aside, entry.path());
    }
  EXPECT_TRUE(run.kept());
}

TEST(KeptViews, AreNotKeptOfAFrameThatCannotBeRead) {
  SmallFlight flight = flight_with_glare();
  RememberingRun run(flight);
  const auto file = flight.record.frames[3].source.path;
  std::filesystem::rename(file, file.string() + "_away");
  (void)run.prepared();
  EXPECT_FALSE(run.kept());
}

TEST(KeptTies, AreMeasuredOnceForAPairAndAPlace) {
  SmallFlight flight = flight_with_glare();
  const Cache cache(flight.out / ".cache");
  int measured = 0;
  const auto at = [&](KeptTies& ties, cv::Point place, KeptTies::Apart apart) {
    return ties.at(place, [&] { return ++measured, apart; });
  };
  KeptTies first(cache, "a", "b", CV_8U);
  (void)at(first, {10, 20}, cv::Point2d(1.25, -0.1));
  (void)at(first, {30, 20}, std::nullopt);
  first.keep();
  EXPECT_EQ(measured, 2);
  KeptTies later(cache, "a", "b", CV_8U);
  EXPECT_EQ(at(later, {10, 20}, std::nullopt), KeptTies::Apart({1.25, -0.1}));
  EXPECT_EQ(at(later, {30, 20}, cv::Point2d(1, 1)), std::nullopt);
  EXPECT_EQ(measured, 2);
  (void)at(later, {31, 20}, std::nullopt);
  EXPECT_EQ(measured, 3);
  KeptTies other(cache, "a", "c", CV_8U), deeper(cache, "a", "b", CV_16U);
  EXPECT_EQ(at(other, {10, 20}, std::nullopt), std::nullopt);
  EXPECT_EQ(at(deeper, {10, 20}, std::nullopt), std::nullopt);
  EXPECT_EQ(measured, 5);
}

TEST(KeptViews, AreFoundWhenAPersonDropsAFrameThatOnlyFilled) {
  SmallFlight flight = flight_with_glare();
  flight.record.frames[4].decision.verdict = Verdict::drop;
  flight.record.frames[4].decision.reasons = {{"blurred", {}, {}, "", Verdict::drop}};
  RememberingRun run(flight);
  const PreparedViews made = run.prepared();
  ASSERT_TRUE(made.views[4].fills);
  drop_by_hand(flight.record.frames[4]);
  const auto found = run.kept();
  ASSERT_TRUE(found);
  expect_same(made, *found);
  EXPECT_TRUE(found->views[4].set_aside);
}

TEST(Decisions, WithoutAPersonsDropAreTheWorstThatAReasonAsksFor) {
  FrameRecord frame;
  frame.decision.verdict = Verdict::unsure;
  frame.decision.reasons = {{"a little dark", {}, {}, "", Verdict::unsure}};
  EXPECT_EQ(decision_but_for_drop_by_person(frame.decision).verdict, Verdict::unsure);
  drop_by_hand(frame);
  EXPECT_EQ(decision_but_for_drop_by_person(frame.decision).verdict, Verdict::unsure);
  EXPECT_FALSE(decision_but_for_drop_by_person(frame.decision).by_person);
  frame.decision.reasons.push_back({"blurred", {}, {}, "", Verdict::drop});
  EXPECT_EQ(decision_but_for_drop_by_person(frame.decision).verdict, Verdict::drop);
}

}  // namespace
}  // namespace lookdown::mosaic
