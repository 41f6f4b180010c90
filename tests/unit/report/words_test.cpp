#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <exiv2/exiv2.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "stages/report/report.h"
#include "stages/report/words/field_text.h"
#include "stages/report/words/flight_figures.h"
#include "stages/report/words/sidecar.h"

namespace lookdown::report {
namespace {

using testing::HasSubstr;
using testing::Not;

FrameRecord frame_with(const std::string& file, Verdict verdict, std::vector<Reason> reasons) {
  FrameRecord frame;
  frame.source.file = file;
  frame.source.stem = file;
  frame.decision.verdict = verdict;
  frame.decision.reasons = std::move(reasons);
  return frame;
}

FlightRecord small_flight() {
  FlightRecord record;
  record.program_version = "0.1.0";
  record.frames.push_back(frame_with("a.jpg", Verdict::keep, {{"sharp", 1.8, 2.8, "px", Verdict::keep}}));
  record.frames.push_back(
      frame_with("b.jpg", Verdict::drop,
                 {{"sharp", 1.9, 2.8, "px", Verdict::keep}, {"near-repeat", {}, {}, "", Verdict::drop}}));
  record.frames.push_back(frame_with("c.jpg", Verdict::drop, {{"smeared", 7.25, 3, "px", Verdict::drop}}));
  record.frames.push_back(
      frame_with("d.jpg", Verdict::unsure, {{"glare", 0.4, 0.3, "of the frame", Verdict::unsure}}));
  FrameRecord broken = frame_with("e.jpg", Verdict::unsure, {});
  broken.fault = "ends after 31 of 1067 rows; copy it again from the card";
  record.frames.push_back(broken);
  return record;
}

TEST(ReasonCounts, CountWhatDecidedAndNotWhatWasNoted) {
  const auto counts = reason_counts(small_flight(), Verdict::drop);
  EXPECT_THAT(counts,
              testing::UnorderedElementsAre(testing::Pair("near-repeat", 1), testing::Pair("smeared", 1),
                                            testing::Pair("unreadable", 1)));
}

TEST(Summary, FitsOneScreenEvenWithManyLongWarnings) {
  FlightRecord record = small_flight();
  for (int i = 0; i < 60; ++i) {
    record.warnings.push_back("Frame number " + std::to_string(i) + std::string(40, 'x') +
                              " says a good deal about itself " + std::string(200, 'y') +
                              " and goes on and on without end");
    record.frames.push_back(
        frame_with("x", Verdict::drop, {{"reason number " + std::to_string(i), {}, {}, "", Verdict::drop}}));
  }
  std::istringstream lines(
      summary(record, RunWords{"run", "out", {"report.html", "mosaic.tif", "masks/a_glare.png"}}));
  int count = 0;
  for (std::string line; std::getline(lines, line); ++count) {
    const bool one_long_word = line.find(std::string(100, 'y')) != std::string::npos;
    EXPECT_TRUE(one_long_word || line.size() <= 84) << line;
  }
  EXPECT_LE(count, 24);
}

TEST(Summary, SaysHowManyAndWhy) {
  const std::string text =
      summary(small_flight(), RunWords{"run", "out", {"report.html", "mosaic.tif", "masks/a_glare.png"}});
  EXPECT_THAT(text, HasSubstr("5 frames: 1 keep, 1 unsure, 3 drop"));
  EXPECT_THAT(text, HasSubstr("1 near-repeat"));
  EXPECT_THAT(text, HasSubstr("1 unreadable"));
  EXPECT_THAT(text, HasSubstr("1 glare"));
}

TEST(Summary, NameFromTheCardCannotSteerTheTerminal) {
  FlightRecord record = small_flight();
  record.warnings.push_back("Frame \x1b[2J\x07.jpg is odd.");
  EXPECT_THAT(summary(record, RunWords{"run", "out", {"report.html", "mosaic.tif", "masks/a_glare.png"}}),
              Not(HasSubstr("\x1b")));
}

TEST(SummaryJson, IsOneLineThatAgreesWithTheRecord) {
  const std::string text = summary_json(
      small_flight(), RunWords{"run", "out", {"report.html", "mosaic.tif", "masks/a_glare.png"}});
  EXPECT_EQ(std::string::npos, text.find('\n'));
  const auto object = nlohmann::json::parse(text);
  EXPECT_EQ(3, object["drop"]);
  EXPECT_EQ(1, object["drop_reasons"]["smeared"]);
  EXPECT_TRUE(object["gsd_m"].is_null());
}

TEST(FieldText, SaysThatAccuracyIsNotKnownWithoutCheckPoints) {
  FlightRecord record = small_flight();
  record.frames[0].placement.placed = true;
  record.frames[0].placement.group = 0;
  EXPECT_THAT(field_text(record), HasSubstr("accuracy on the ground is not known"));
}

// NSSDA worked through: residuals (0.03, -0.04) and (0.04, -0.03) m give RMSE_r 0.05 m and 1.7308 x 0.05 =
// 0.08654 m (FGDC-STD-007.3-1998; derived).
TEST(FieldText, StatesTestedAccuracyFromCheckPoints) {
  FlightRecord record = small_flight();
  record.frames[0].placement.placed = true;
  record.frames[0].placement.group = 0;
  record.placement.accuracy.nssda_95_m = 0.08654;
  record.placement.accuracy.check_points = 2;
  EXPECT_THAT(field_text(record), HasSubstr("87 mm"));
  EXPECT_THAT(field_text(record), HasSubstr("2 check points"));
}

TEST(Sidecar, IsReadBackByAnXmpParser) {
  const FlightRecord record = small_flight();
  Exiv2::XmpData xmp;
  ASSERT_EQ(0, Exiv2::XmpParser::decode(xmp, sidecar(record.frames[2])));
  EXPECT_EQ("drop", xmp["Xmp.lookdown.verdict"].toString());
  EXPECT_THAT(xmp["Xmp.dc.subject"].toString(), HasSubstr("smeared"));
  EXPECT_THAT(xmp["Xmp.dc.description"].toString(), HasSubstr("smeared 7.25 px (limit 3)"));
}

TEST(Sidecar, HostileTextStaysText) {
  FrameRecord frame =
      frame_with("\"><x>&.jpg", Verdict::drop, {{"</rdf:RDF><evil/>", {}, {}, "", Verdict::drop}});
  Exiv2::XmpData xmp;
  ASSERT_EQ(0, Exiv2::XmpParser::decode(xmp, sidecar(frame)));
  EXPECT_THAT(xmp["Xmp.dc.subject"].toString(), HasSubstr("</rdf:RDF><evil/>"));
}

TEST(Sidecars, AreWrittenBesideTheReportAndNowhereElse) {
  const auto out = std::filesystem::temp_directory_path() / ("sidecars_" + std::to_string(::getpid()));
  write_sidecars(small_flight(), out);
  EXPECT_TRUE(std::filesystem::exists(out / "sidecars" / "c.jpg.xmp"));
  std::filesystem::remove_all(out);
}

}  // namespace
}  // namespace lookdown::report
