#include "cli/options/options_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>

#include "stages/run/assemble_run.h"

namespace lookdown::cli {
namespace {

namespace fs = std::filesystem;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::ThrowsMessage;

class OptionsFile : public ::testing::Test {
 protected:
  ~OptionsFile() override { fs::remove(file_); }
  void read(const std::string& text) {
    std::ofstream(file_) << text;
    read_options_file(file_, [this](OptionVisitor& visitor) { describe(options_, visitor); });
  }
  fs::path file_ = fs::temp_directory_path() / ("lookdown_options_" + std::to_string(::getpid()) + ".toml");
  FlightOptions options_;
};

TEST_F(OptionsFile, TomlSetsOptionsByTheirFlagNames) {
  read(
      "max-smear-px = 2.5\ncheck-points = [\"B3\", \"B4\"]\nlevelled-copies = true # a comment\nfocal-35mm = "
      "28\n");
  EXPECT_EQ(options_.cull.max_smear_px, 2.5);
  EXPECT_EQ(options_.place.check, (std::vector<std::string>{"B3", "B4"}));
  EXPECT_TRUE(options_.levelled_copies);
  EXPECT_EQ(options_.inspect.focal_35mm, 28);
}

TEST_F(OptionsFile, MisspeltKeyAndTableNamesTheNearest) {
  EXPECT_THAT(
      [&] { read("max-smaer-px = 2\n"); },
      ThrowsMessage<std::runtime_error>(AllOf(HasSubstr("max-smaer-px"), HasSubstr("\"max-smear-px\""))));
  EXPECT_THROW(read("[cull]\nmax-smear-px = 2\n"), std::runtime_error);
  EXPECT_THROW(read("max-smear-px = \n"), std::runtime_error);
  EXPECT_THROW(read("max-smear-px = true\n"), std::runtime_error);
}

TEST_F(OptionsFile, ARunRecordCanBeRunAgain) {
  options_.cull.max_blur_px = 3.25;
  options_.place.check = {"B1"};
  const std::string written =
      options_to_json([this](OptionVisitor& visitor) { describe(options_, visitor); });
  options_ = {};
  read("{\"program\": \"lookdown\", \"options\": " + written + "}");
  EXPECT_EQ(options_.cull.max_blur_px, 3.25);
  EXPECT_EQ(options_.place.check, std::vector<std::string>{"B1"});
}

}  // namespace
}  // namespace lookdown::cli
