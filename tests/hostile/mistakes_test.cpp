// What people get wrong, one row a mistake: which exit code, and one line that says what to do. Wrong use is
// met before the first frame is decoded, so that nothing is written.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <functional>

#include "program_run.h"
#include "small_card.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;
using ::testing::Not;
using Words = std::vector<std::string>;

/// A card of three frames and tables beside it; in words of a command `@` stands for the folder of them all.
class Desk {
 public:
  Desk() {
    write_row_of_frames(folder_.path() / "card", 3, 7);
    table("control.csv", "name,x,y,z\nB1,0,0,0\nB2,10,0,0\nB3,0,10,0\n");
    table("marks.csv",
          "file,name,x_px,y_px\nframe_0.jpg,B1,20,30\nframe_0.jpg,B2,300,40\nframe_1.jpg,B3,200,50\n");
    fs::create_directories(folder_.path() / "empty");
    fs::create_directories(folder_.path() / "words");
    table("words/notes.txt", "no picture");
    table("words/broken.jpg", "no picture either");
  }
  void table(const std::string& name, const std::string& text) const {
    std::ofstream(folder_.path() / name) << text;
  }
  [[nodiscard]] std::string filled(std::string word) const {
    for (std::size_t at = word.find('@'); at != std::string::npos; at = word.find('@', at))
      word.replace(at, 1, folder_.path().string());
    return word;
  }
  [[nodiscard]] ProgramRun run(Words words) const {
    std::transform(words.begin(), words.end(), words.begin(), [&](const auto& word) { return filled(word); });
    return run_lookdown(words);
  }
  [[nodiscard]] fs::path path(const std::string& name) const { return folder_.path() / name; }

 private:
  TemporaryFolder folder_;
};

struct Mistake {
  const char* name;
  Words words;
  int exit_code;
  std::vector<std::string> said;  ///< all of it in standard error
  std::function<void(const Desk&)> prepare = [](const Desk&) {};
};

void PrintTo(const Mistake& mistake, std::ostream* stream) {
  *stream << mistake.name;
}

class Mistakes : public ::testing::TestWithParam<Mistake> {};

TEST_P(Mistakes, IsMetWithItsCodeAndOneLineThatHelps) {
  const Mistake& mistake = GetParam();
  const Desk desk;
  mistake.prepare(desk);
  const ProgramRun run = desk.run(mistake.words);
  EXPECT_EQ(run.exit_code, mistake.exit_code) << run.errors << run.output;
  for (const std::string& said : mistake.said) EXPECT_THAT(run.errors, HasSubstr(desk.filled(said)));
  if (mistake.exit_code != 2) return;
  EXPECT_EQ(std::count(run.errors.begin(), run.errors.end(), '\n'), 1) << run.errors;
  EXPECT_THAT(run.errors, ::testing::StartsWith("lookdown: "));
  EXPECT_FALSE(fs::exists(desk.path("out/frames.csv"))) << "frames were read before the mistake was met";
}

void with_foreign_table(const Desk& desk) {
  fs::create_directories(desk.path("out2"));
  desk.table("out2/frames.csv", "my,own,table\n");
}

Mistake with_control(const char* name, const char* control, std::vector<std::string> said) {
  return {name,
          {"run", "@/card", "-o", "@/out", "--control-file", "@/c.csv", "--marks-file", "@/marks.csv"},
          2,
          std::move(said),
          [text = std::string(control)](const Desk& desk) { desk.table("c.csv", text); }};
}

Mistake with_choices(const char* name, const char* choices, std::vector<std::string> said) {
  return {name,
          {"run", "@/card", "-o", "@/out", "--choices-file", "@/choices.csv"},
          2,
          std::move(said),
          [text = std::string(choices)](const Desk& desk) { desk.table("choices.csv", text); }};
}

INSTANTIATE_TEST_SUITE_P(
    Words, Mistakes,
    ::testing::Values(
        Mistake{"MisspeltCommand", {"rn", "@/card"}, 2, {"no command \"rn\"", "\"run\""}},
        Mistake{"MisspeltOption",
                {"run", "@/card", "-o", "@/out", "--strictnes", "1"},
                2,
                {"no option --strictnes", "--strictness"}},
        Mistake{"ShortenedOption", {"run", "@/card", "-o", "@/out", "--check", "B1"}, 2, {"--check-points"}},
        Mistake{"OptionBeforeAnyCommand", {"--quiet"}, 2, {"--quiet"}},
        Mistake{"NoOutput", {"run", "@/card"}, 2, {"-o FOLDER", "lookdown run"}},
        Mistake{"NoFlight", {"run", "-o", "@/out"}, 2, {"folders, files and patterns", "lookdown run"}},
        Mistake{"OutOfRange",
                {"plan", "--lat-deg", "95", "--lon-deg", "7"},
                2,
                {"95 is out of range [-90 to 90]"}},
        Mistake{"Memory", {"run", "@/card", "-o", "@/out", "--memory", "lots"}, 2, {"\"lots\"", "2G"}},
        Mistake{"LessThanNoPixels",
                {"run", "@/card", "-o", "@/out", "--max-gigapixels", "-1"},
                2,
                {"-1 is out of range"}},
        // The frames of the card have 480 x 320 px.
        Mistake{"FewerPixelsThanAFrame",
                {"run", "@/card", "-o", "@/out", "--max-gigapixels", "0.0001"},
                2,
                {"--max-gigapixels 0.0001", "0.154 megapixels", "--gsd-m"}},
        Mistake{"FallingToneCurve",
                {"run", "@/card", "-o", "@/out", "--tone-curve", "0,1 1,0"},
                2,
                {"--tone-curve", "1,0", "rise"}},
        Mistake{"MoreIsPlacedThanAllowed",
                {"run", "@/card", "-o", "@/out", "--max-gigapixels", "0.0002"},
                3,
                {"gigapixels, more than the 0.0002", "--max-gigapixels"}},
        Mistake{"NoDay",
                {"plan", "--lat-deg", "45", "--lon-deg", "7", "--date", "2026-02-30"},
                2,
                {"2026-02-30", "write it as 2025-06-21"}},
        Mistake{"PlanWithoutAPlace", {"plan"}, 2, {"--lat-deg and --lon-deg"}},
        Mistake{"PlanFromNowhere", {"plan", "--from", "@/empty"}, 2, {"@/empty", "flight.json"}},
        Mistake{"PlanFromAFlightWithoutAPlace",
                {"plan", "--from", "@/out"},
                0,
                {},
                [](const Desk& desk) {
                  (void)desk.run({"inspect", "@/card", "-o", "@/out"});
                }},
        Mistake{"OptionsFileKey",
                {"run", "@/card", "-o", "@/out", "--options-file", "@/o.toml"},
                2,
                {"strictnes", "the nearest is \"strictness\""},
                [](const Desk& desk) { desk.table("o.toml", "strictnes = 1\n"); }}),
    [](const auto& row) { return std::string(row.param.name); });

INSTANTIATE_TEST_SUITE_P(
    Folders, Mistakes,
    ::testing::Values(
        Mistake{"MissingFolder", {"run", "@/none", "-o", "@/out"}, 2, {"@/none", "check the name"}},
        Mistake{"EmptyFolder", {"run", "@/empty", "-o", "@/out"}, 1, {"@/empty", "no pictures here"}},
        Mistake{"NoPictures", {"cull", "@/words", "-o", "@/out"}, 1, {"None of the 1 files"}},
        Mistake{"OutIsTheFlight",
                {"run", "@/card", "-o", "@/card"},
                2,
                {"the output folder must not be the folder of the frames"}},
        Mistake{"OutIsTheFlightByFiles",
                {"run", "@/card/frame_0.jpg", "@/card/frame_1.jpg", "-o", "@/card/"},
                2,
                {"must not be the folder of the frames"}},
        Mistake{"OutBelowTheFlight", {"inspect", "@/card", "-o", "@/card/out"}, 0, {}},
        Mistake{"ForeignTable",
                {"run", "@/card", "-o", "@/out2"},
                2,
                {"out2/frames.csv", "--overwrite"},
                with_foreign_table},
        Mistake{"ForeignTableForced",
                {"inspect", "@/card", "-o", "@/out2", "--overwrite"},
                0,
                {},
                with_foreign_table},
        Mistake{"MarksOverThemselves",
                {"control", "@/card", "-o", "@", "--marks-file", "@/marks.csv"},
                2,
                {"marks.csv", "another folder", "--overwrite"}},
        Mistake{"OtherFlight",
                {"inspect", "@/card", "-o", "@/out"},
                0,
                {"held the results of another flight", "@/other"},
                [](const Desk& desk) {
                  write_row_of_frames(desk.path("other"), 1, 9);
                  (void)desk.run({"inspect", "@/other", "-o", "@/out"});
                }}),
    [](const auto& row) { return std::string(row.param.name); });

INSTANTIATE_TEST_SUITE_P(
    Tables, Mistakes,
    ::testing::Values(
        with_control("ControlHeading", "id;east;north\nB1;0;0\n", {"c.csv", "name", "id"}),
        with_control("ControlNumber", "name,x,y,z\nB1,zero,0,0\n", {"c.csv", "line 2", "zero"}),
        with_control("ControlTwice", "name,x,y,z\nB1,0,0,0\nB1,1,0,0\n", {"c.csv", "line 3", "twice"}),
        with_control("ControlCase", "name,x,y,z\nb1,0,0,0\nB2,1,0,0\nB3,1,1,0\n", {"\"B1\"", "\"b1\""}),
        with_control("NoPointInBoth", "name,x,y,z\nP1,0,0,0\nP2,1,0,0\n", {"B1, B2, B3", "P1, P2"}),
        with_choices("ChoicesHeading", "frame,word\nframe_0.jpg,keep\n", {"choices.csv", "file"}),
        with_choices("ChoicesVerdict", "file,verdict\nframe_0.jpg,maybe\n",
                     {"choices.csv", "line 2", "maybe"}),
        Mistake{"ControlWithoutMarks",
                {"run", "@/card", "-o", "@/out", "--control-file", "@/control.csv"},
                2,
                {"--control-file needs --marks-file"}},
        Mistake{"CheckPointUnknown",
                {"run", "@/card", "-o", "@/out", "--control-file", "@/control.csv", "--marks-file",
                 "@/marks.csv", "--check-points", "B9"},
                2,
                {"\"B9\" is not in", "B1, B2, B3"}},
        Mistake{"ScaleBarWithoutMetres",
                {"run", "@/card", "-o", "@/out", "--marks-file", "@/marks.csv", "--scale-bar", "B1,B2"},
                2,
                {"B1,B2", "A,B,12.50"}},
        Mistake{"ScaleBarUnknownEnd",
                {"run", "@/card", "-o", "@/out", "--marks-file", "@/marks.csv", "--scale-bar", "B1,B7,5"},
                2,
                {"\"B7\"", "B1, B2, B3"}},
        Mistake{"UnknownReferenceSystem",
                {"run", "@/card", "-o", "@/out", "--control-file", "@/control.csv", "--marks-file",
                 "@/marks.csv", "--control-crs", "EPSG:99999999"},
                2,
                {"EPSG:99999999", "write it as EPSG:25832"}},
        // EPSG:4326 is WGS 84 in degrees (EPSG registry).
        Mistake{"ReferenceSystemInDegrees",
                {"run", "@/card", "-o", "@/out", "--control-file", "@/control.csv", "--marks-file",
                 "@/marks.csv", "--control-crs", "EPSG:4326"},
                2,
                {"EPSG:4326", "metres"}},
        Mistake{"LatitudeAlone", {"run", "@/card", "-o", "@/out", "--lat-deg", "46"}, 2, {"--lon-deg"}},
        Mistake{"MarksOfAnotherFlight",
                {"run", "@/card", "-o", "@/out", "--marks-file", "@/m.csv", "--scale-bar", "B1,B2,5"},
                2,
                {"m.csv", "Z1.jpg", "none of the frames"},
                [](const Desk& desk) {
                  desk.table("m.csv", "file,name,x_px,y_px\nZ1.jpg,B1,20,30\nZ1.jpg,B2,300,40\n");
                }},
        Mistake{"CalibrationMissing",
                {"run", "@/card", "-o", "@/out", "--camera-file", "@/camera.yml"},
                2,
                {"camera.yml"}}),
    [](const auto& row) { return std::string(row.param.name); });

// One line for all marks of other frames, however many.
TEST(MistakesThatMayBeMeant, MarksOfALargerFlightAreOneNote) {
  const Desk desk;
  std::string marks = "file,name,x_px,y_px\nframe_0.jpg,B1,20,30\nframe_0.jpg,B2,300,40\n";
  for (int i = 0; i < 14; ++i) marks += "Z" + std::to_string(i) + ".jpg,B3,10,10\n";
  desk.table("m.csv", marks + "frame_1.jpg,Q9,30,30\n");
  const ProgramRun run = desk.run({"rectify", "@/card", "-o", "@/out", "--control-file", "@/control.csv",
                                   "--marks-file", "@/m.csv", "--max-megapixels", "1"});
  EXPECT_THAT(run.errors, HasSubstr("14 marks name frames that are not in this flight"));
  EXPECT_THAT(run.errors, HasSubstr("Q9"));
}

TEST(MistakesInMeasuring, AreMetWithoutAMosaic) {
  const Desk desk;
  for (const auto& [words, said] : std::vector<std::pair<Words, std::string>>{
           {{"--point", "abc"}, "written as x,y"},
           {{"--line", "1,1"}, "has 1 corner; it needs at least 2"},
           {{"--area", "1,1 2,2"}, "has 2 corners; it needs at least 3"},
           {{"--area", "0,0 10,10 10,0 0,10"}, "crosses itself"},
           {{}, "nothing to measure"},
           {{"--point", "1,1"}, "give the output folder of a run that made a mosaic"}}) {
    Words all{"measure", "@/empty"};
    all.insert(all.end(), words.begin(), words.end());
    const ProgramRun run = desk.run(all);
    EXPECT_EQ(run.exit_code, 2) << run.output;
    EXPECT_THAT(run.errors, HasSubstr(said));
  }
}

TEST(Help, ABareCallAndEveryCommandGiveIt) {
  const ProgramRun bare = run_lookdown({});
  EXPECT_EQ(bare.exit_code, 0);
  EXPECT_THAT(bare.output, HasSubstr("Commands"));
  for (const char* command : {"run", "inspect", "cull", "level", "rectify", "glare", "mosaic", "measure",
                              "align", "control", "plan"}) {
    EXPECT_THAT(bare.output, HasSubstr(std::string("\n  ") + command + " "));
    const ProgramRun everyday = run_lookdown({command, "--help"}),
                     all = run_lookdown({command, "--help-all"});
    EXPECT_EQ(everyday.exit_code, 0);
    EXPECT_THAT(everyday.output, HasSubstr("Example\n  lookdown " + std::string(command)));
    EXPECT_GE(all.output.size() + 100, everyday.output.size());
    for (const ProgramRun* help : {&everyday, &all}) {
      std::istringstream lines(help->output);
      for (std::string line; std::getline(lines, line);)
        EXPECT_LE(line.size(), 100U) << command << ": " << line;
    }
  }
  EXPECT_THAT(run_lookdown({"mosaic", "--help-all"}).output, Not(HasSubstr("--page-megabytes")));
}

TEST(Cull, LooksForGlareWhereALimitOfItIsGiven) {
  const auto glare_share = [](const Desk& desk, const Words& more) {
    Words words{"cull", "@/card", "-o", "@/out", "--no-page"};
    words.insert(words.end(), more.begin(), more.end());
    EXPECT_EQ(desk.run(words).exit_code, 0);
    std::ifstream table(desk.path("out/frames.csv"));
    std::string head, row;
    std::getline(table, head);
    std::getline(table, row);
    std::istringstream names(head), cells(row);
    for (std::string name, cell; std::getline(names, name, ',') && std::getline(cells, cell, ',');)
      if (name == "glare_share") return cell;
    return std::string("no such column");
  };
  EXPECT_EQ(glare_share(Desk(), {}), "");
  EXPECT_EQ(glare_share(Desk(), {"--max-glare-share", "0.1"}), "0.0000");
}

TEST(Summary, NamesWhatThisRunWroteAndWhatAnEarlierOneLeft) {
  const Desk desk;
  const ProgramRun first = desk.run({"cull", "@/card", "-o", "@/out"});
  EXPECT_THAT(first.output, HasSubstr("report.html"));
  EXPECT_THAT(first.output, HasSubstr("frames.csv"));
  const ProgramRun second = desk.run({"inspect", "@/card", "-o", "@/out"});
  EXPECT_THAT(second.output, HasSubstr("Left there by an earlier run: report.html"));
  EXPECT_THAT(second.output, HasSubstr("3 files, 3 can be read"));
  EXPECT_THAT(second.output, Not(HasSubstr("unsure")));
}

}  // namespace
}  // namespace lookdown
