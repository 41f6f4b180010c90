#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "pipeline/record/record_json.h"

namespace lookdown {
namespace {

using ::testing::HasSubstr;

FlightRecord two_frames() {
  FlightRecord record;
  record.program_version = "9.9";
  record.options_json = R"({"max-blur-px":2.5})";
  record.frames.resize(2);
  FrameRecord& placed = record.frames[0];
  placed.source = {"a.jpg", "a", "/card/a.jpg", "00ff", 123, 1600, 1067, 6, "JPEG"};
  placed.info.taken_at = "2025-05-14T10:31:02.25+02:00";
  placed.info.position = GeoPosition{51.5, 7.25, 80.0, std::nullopt, 4};
  placed.info.camera = assumed_camera(1600, 1067);
  placed.sharpness = Sharpness{};
  placed.sharpness->blur_fwhm_px = 1.75;
  placed.horizon = Horizon{{0.1, 0.9, -20}, "sea", -3.5, 0.1, 2.25, 0.2};
  placed.decision = {View::nadir, Verdict::keep, {Reason{"smeared", 3.5, 3.0, "px"}}, "b.jpg", true};
  placed.placement.placed = true;
  placed.placement.group = 0;
  placed.placement.camera = placed.info.camera;
  placed.placement.pose = straight_down({1, 2, 30});
  placed.placement.mosaic_from_frame.matrix(0, 2) = 12.5;
  record.frames[1].source = {"=cmd,\"x\".jpg", "b", "/card/b.jpg", "01", 9, 0, 0, 1, ""};
  record.frames[1].fault = "is empty (0 bytes)";
  record.placement.gsd_m = 0.02;
  record.placement.geotransform = {{0, 0.02, 0, 10, 0, -0.02}};
  record.clearest_views = {{0, 1.5, -2.25, 0.5, 1, 0.125, 0.75, 3}};
  record.warnings = {"a warning"};
  return record;
}

TEST(FlightRecord, JsonRoundTripKeepsEverything) {
  const nlohmann::json once = to_json(two_frames());
  const nlohmann::json twice = to_json(flight_record_from_json(once));
  EXPECT_EQ(once.dump(), twice.dump());
  EXPECT_EQ(once["frames"][0]["sharpness"]["blur_fwhm_px"], 1.75);
  EXPECT_FALSE(once["frames"][0]["sharpness"].contains("smear_px")) << "what is not known is left out";
}

TEST(FlightRecord, SignaturesAreTextAndEarlierListsAreStillRead) {
  FlightRecord record = two_frames();
  record.frames[0].sharpness->signature = {0, 1, 127, 128, 255};
  const nlohmann::json whole = to_json(record);
  EXPECT_EQ(whole["frames"][0]["sharpness"]["signature"], "00017f80ff");
  EXPECT_EQ(flight_record_from_json(whole).frames[0].sharpness->signature,
            record.frames[0].sharpness->signature);
  nlohmann::json changed = whole;
  changed["frames"][0]["sharpness"]["signature"] = {0, 1, 127, 128, 255};
  EXPECT_EQ(flight_record_from_json(changed).frames[0].sharpness->signature,
            record.frames[0].sharpness->signature);
  for (const auto& damaged :
       {nlohmann::json("0f0"), nlohmann::json("zz"), nlohmann::json({0, 300}), nlohmann::json(7)}) {
    changed["frames"][0]["sharpness"]["signature"] = damaged;
    EXPECT_THROW((void)flight_record_from_json(changed), std::runtime_error) << damaged;
  }
}

TEST(FlightRecord, ForeignOrDamagedJsonIsRefused) {
  EXPECT_THROW((void)flight_record_from_json(nlohmann::json::parse("{}")), std::runtime_error);
  nlohmann::json damaged = to_json(two_frames());
  damaged["frames"][0]["source"]["width_px"] = "wide";
  EXPECT_THROW((void)flight_record_from_json(damaged), std::runtime_error);
}

TEST(FlightRecord, NumbersBeyondWhatAFieldHoldsAreRefused) {
  const nlohmann::json whole = to_json(two_frames());
  for (const auto& beyond :
       {nlohmann::json(1e103), nlohmann::json(-1e10), nlohmann::json(std::uint64_t{1} << 40)}) {
    nlohmann::json damaged = whole;
    damaged["frames"][0]["placement"]["group"] = beyond;
    EXPECT_THROW((void)flight_record_from_json(damaged), std::runtime_error) << beyond;
  }
}

TEST(FramesTable, HasOneRowAFileAndEmptyCellsForTheUnknown) {
  const std::string table = frames_table(two_frames());
  const std::size_t first = table.find("\r\n") + 2;
  const std::string row = table.substr(first, table.find("\r\n", first) - first);
  EXPECT_THAT(row, ::testing::StartsWith("a.jpg,keep,smeared"));
  EXPECT_THAT(row, HasSubstr("nadir,1600,1067,2025-05-14T10:31:02.25+02:00"));
  const auto commas = [](const std::string& text) { return std::count(text.begin(), text.end(), ','); };
  EXPECT_EQ(commas(row), commas(table.substr(0, first)));
}

TEST(FramesTable, FileNamesCannotBecomeFormulasOrBreakCells) {
  EXPECT_THAT(frames_table(two_frames()), HasSubstr("\"'=cmd,\"\"x\"\".jpg\""));
}

TEST(LeastGlareTable, NamesTheFrameOfEachSpot) {
  EXPECT_EQ(least_glare_table(two_frames()),
            "group,x,y,side,file,glare_share,worst_glare_share,views\r\n"
            "0,1.500,-2.250,0.500,\"'=cmd,\"\"x\"\".jpg\",0.1250,0.7500,3\r\n");
}

TEST(PlacementDocument, FollowsTheFileContract) {
  const nlohmann::json document = placement_document(two_frames());
  EXPECT_EQ(document["gsd_m"], 0.02);
  EXPECT_TRUE(document["crs"].is_null());
  EXPECT_EQ(document["frames"].size(), 1U);
  EXPECT_EQ(document["frames"][0]["frame_to_mosaic"].size(), 9U);
  EXPECT_EQ(document["frames"][0]["frame_to_mosaic"][2], 12.5);
  EXPECT_EQ(document["not_placed"][0]["why"], "is empty (0 bytes)");
}

}  // namespace
}  // namespace lookdown
