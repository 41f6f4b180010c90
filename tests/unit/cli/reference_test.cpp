#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>

#include "cli/commands/command.h"
#include "cli/options/options_file.h"
#include "cli/options/toml_text.h"
#include "program_run.h"
#include "stages/run/assemble_run.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;
using ::testing::Not;

bool has_program(const char* name) {
  return std::system((std::string("command -v ") + name + " > /dev/null").c_str()) == 0;
}

// What a shell says to some words; the words are the test's own.
std::string said_by(const std::string& command) {
  std::string said;
  std::FILE* pipe = ::popen(command.c_str(), "r");
  char piece[4096];
  while (std::fgets(piece, sizeof piece, pipe)) said += piece;
  ::pclose(pipe);
  return said;
}

class Reference : public ::testing::Test {
 protected:
  fs::path save(const std::string& name, const std::string& text) const {
    std::ofstream(folder_.path() / name) << text;
    return folder_.path() / name;
  }
  fs::path completion(const std::string& shell) const {
    return save(shell, run_lookdown({"completion", shell}).output);
  }
  TemporaryFolder folder_;
};

TEST_F(Reference, PrintedOptionsReadBackGiveTheSameOptions) {
  for (const Command& command : all_commands()) {
    if (command.about_program || command.name == "align") continue;
    const ProgramRun printed = run_lookdown({"options", command.name});
    EXPECT_EQ(printed.exit_code, 0) << printed.errors;
    const std::string before = options_to_json(command.describe);
    read_options_file(save("lookdown.toml", printed.output), command.describe);
    EXPECT_EQ(options_to_json(command.describe), before) << command.name;
    EXPECT_EQ(printed.output, run_lookdown({"options", command.name}).output);
  }
}

TEST_F(Reference, ChangedOptionsSurviveTheTripThroughAFile) {
  FlightOptions changed, read_back;
  changed.cull.max_blur_px = 3.125;
  changed.place.check = {"B\"3\\", "Brücke 4"};
  changed.choices_file = "my \"choices\"\ttable.csv";
  changed.levelled_copies = true;
  changed.inspect.focal_px = 1e-3 + 1234;
  const fs::path file =
      save("lookdown.toml", options_as_toml([&](OptionVisitor& visitor) { describe(changed, visitor); }));
  read_options_file(file, [&](OptionVisitor& visitor) { describe(read_back, visitor); });
  EXPECT_EQ(options_to_json([&](OptionVisitor& visitor) { describe(read_back, visitor); }),
            options_to_json([&](OptionVisitor& visitor) { describe(changed, visitor); }));
}

TEST_F(Reference, EveryOptionStandsInTheFileTheHelpAndTheManual) {
  const std::string manual = run_lookdown({"manual"}).output, file = run_lookdown({"options"}).output,
                    help = run_lookdown({"run", "--help-all"}).output;
  class Names : public OptionVisitor {
   public:
    std::vector<std::string> names;
    void option(const OptionText& text, bool&) override { names.emplace_back(text.name); }
    void option(const OptionText& text, int&) override { names.emplace_back(text.name); }
    void option(const OptionText& text, double&) override { names.emplace_back(text.name); }
    void option(const OptionText& text, std::string&) override { names.emplace_back(text.name); }
    void option(const OptionText& text, std::optional<double>&) override { names.emplace_back(text.name); }
    void option(const OptionText& text, std::vector<std::string>&) override { names.emplace_back(text.name); }
  } seen;
  FlightOptions options;
  describe(options, seen);
  ASSERT_GT(seen.names.size(), 20U);
  for (const std::string& name : seen.names) {
    std::string dashed;
    for (const char c : name) dashed += c == '-' ? std::string("\\-") : std::string(1, c);
    EXPECT_THAT(manual, HasSubstr("\\-\\-" + dashed + "\\fR"));
    EXPECT_THAT(
        file, HasSubstr("\n" + std::string(file.find("\n# " + name + " =") != std::string::npos ? "# " : "") +
                        name + " = "));
    EXPECT_THAT(help, HasSubstr("--" + name));
  }
  EXPECT_THAT(help, Not(HasSubstr("[0 to 0]")));
}

TEST_F(Reference, TheManualPageIsCleanForTheTypesetter) {
  if (!has_program("groff")) GTEST_SKIP() << "groff is not installed";
  const fs::path page = save("lookdown.1", run_lookdown({"manual"}).output);
  EXPECT_EQ(said_by("groff -man -ww -z " + page.string() + " 2>&1"), "");
  EXPECT_THAT(said_by("groff -man -Tascii -P-cbou " + page.string()), HasSubstr("CAUTIONS"));
}

TEST_F(Reference, BashCompletesCommandsOptionsAndTheirWords) {
  const fs::path file = completion("bash");
  const auto completed = [&](const std::string& words, int at) {
    return said_by("bash -c 'source " + file.string() + "; COMP_WORDS=(lookdown " + words +
                   "); COMP_CWORD=" + std::to_string(at) + "; _lookdown; echo \"${COMPREPLY[@]}\"' 2>&1");
  };
  EXPECT_EQ(completed("mea", 1), "measure\n");
  EXPECT_EQ(completed("cull --max-bl", 2), "--max-blur-px\n");
  EXPECT_EQ(completed("run --raw-or-jpeg j", 3), "jpeg\n");
  EXPECT_EQ(completed("completion z", 2), "zsh\n");
  EXPECT_EQ(completed("run folder", 2), "\n") << "names of files are left to the shell";
}

TEST_F(Reference, ZshTakesTheCompletion) {
  if (!has_program("zsh")) GTEST_SKIP() << "zsh is not installed";
  EXPECT_EQ(said_by("zsh -n " + completion("zsh").string() + " 2>&1"), "");
}

TEST_F(Reference, FishCompletesCommandsOptionsAndTheirWords) {
  if (!has_program("fish")) GTEST_SKIP() << "fish is not installed";
  const fs::path file = completion("fish");
  const auto completed = [&](const std::string& line) {
    return said_by("HOME=" + folder_.path().string() + " fish --no-config -c 'source " + file.string() +
                   "; complete -C \"" + line + "\"' 2>&1");
  };
  EXPECT_THAT(completed("lookdown mea"), HasSubstr("measure\t"));
  EXPECT_THAT(completed("lookdown cull --max-bl"), HasSubstr("--max-blur-px"));
  EXPECT_THAT(completed("lookdown run --raw-or-jpeg j"), HasSubstr("jpeg"));
}

TEST_F(Reference, VersionNamesTheLibraries) {
  const ProgramRun version = run_lookdown({"--version"});
  EXPECT_EQ(version.exit_code, 0);
  EXPECT_THAT(version.output, ::testing::StartsWith("lookdown "));
  // Numbers from the libraries' own programs and pkg-config.
  for (const auto& [library, ask] :
       {std::pair("exiv2", "pkg-config --modversion exiv2"),
        std::pair("Little CMS", "pkg-config --modversion lcms2"), std::pair("GDAL", "gdal-config --version"),
        std::pair("OpenCV", "pkg-config --modversion opencv4")}) {
    const std::string said = said_by(ask);
    const std::size_t at = version.output.find(library);
    ASSERT_NE(at, std::string::npos) << library;
    EXPECT_THAT(version.output.substr(at, 40), HasSubstr(said.substr(0, said.find('\n')))) << library;
  }
}

}  // namespace
}  // namespace lookdown::cli
