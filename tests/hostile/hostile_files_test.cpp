// Files made to hurt: bombs, things that are no files, names that would act in a table, a terminal or a page.
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <zlib.h>

#include <fstream>
#include <string>

#include "program_run.h"
#include "small_card.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;
using ::testing::Not;

std::string big_endian(std::uint32_t value) {
  return {static_cast<char>(value >> 24), static_cast<char>(value >> 16), static_cast<char>(value >> 8),
          static_cast<char>(value)};
}

// A chunk of the PNG specification (ISO/IEC 15948), section 5.3: length, type, data, CRC of type and data.
std::string chunk(const std::string& type, const std::string& data) {
  const std::string body = type + data;
  const auto crc = ::crc32(0, reinterpret_cast<const Bytef*>(body.data()), static_cast<uInt>(body.size()));
  return big_endian(static_cast<std::uint32_t>(data.size())) + body +
         big_endian(static_cast<std::uint32_t>(crc));
}

// A PNG of one grey bit a pixel whose rows are all zero: 60000 x 60000 px in some hundred kilobytes.
std::string png_bomb(std::uint32_t side) {
  std::string packed;
  z_stream stream{};
  deflateInit(&stream, 9);
  std::string row(side / 8 + 1, '\0'), buffer(1 << 16, '\0');
  for (std::uint32_t y = 0; y <= side; ++y) {
    stream.next_in = reinterpret_cast<Bytef*>(row.data());
    stream.avail_in = y < side ? static_cast<uInt>(row.size()) : 0;
    do {
      stream.next_out = reinterpret_cast<Bytef*>(buffer.data());
      stream.avail_out = static_cast<uInt>(buffer.size());
      deflate(&stream, y < side ? Z_NO_FLUSH : Z_FINISH);
      packed.append(buffer.data(), buffer.size() - stream.avail_out);
    } while (stream.avail_out == 0);
  }
  deflateEnd(&stream);
  const std::string head = big_endian(side) + big_endian(side) + std::string("\1\0\0\0\0", 5);
  return "\x89PNG\r\n\x1a\n" + chunk("IHDR", head) + chunk("IDAT", packed) + chunk("IEND", "");
}

class HostileFiles : public ::testing::Test {
 protected:
  HostileFiles() { write_row_of_frames(card(), 3, 9); }
  [[nodiscard]] fs::path card() const { return folder_.path() / "card"; }
  [[nodiscard]] fs::path out() const { return folder_.path() / "out"; }
  [[nodiscard]] ProgramRun run() const {
    return run_lookdown({"run", card().string(), "-o", out().string()});
  }
  TemporaryFolder folder_;
};

TEST_F(HostileFiles, PngBombIsRefusedBeforeMemoryIsTaken) {
#ifdef __SANITIZE_ADDRESS__
  GTEST_SKIP() << "the address sanitizer reserves terabytes of addresses";
#endif
  std::ofstream(card() / "bomb.png", std::ios::binary) << png_bomb(60'000);
  ASSERT_LT(fs::file_size(card() / "bomb.png"), 1'000'000U);
  RunConditions little_memory;
  little_memory.started_by = {"prlimit", "--as=3000000000"};  // its pixels would take 10.8 GB
  const ProgramRun run = run_lookdown({"run", card().string(), "-o", out().string()}, little_memory);
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  const auto table = read_frames_table(out() / "frames.csv");
  EXPECT_EQ(table.at("bomb.png").at("verdict"), "drop");
  EXPECT_THAT(table.at("bomb.png").at("reasons"), HasSubstr("60000 x 60000"));
  EXPECT_EQ(table.at("frame_0.jpg").at("verdict"), "keep");
}

TEST_F(HostileFiles, AbsurdJpegSizeIsRefused) {
  std::string bytes = bytes_of(card() / "frame_0.jpg");
  // The start-of-frame segment (ITU-T T.81, B.2.2): marker, length, precision, lines, samples a line.
  const std::size_t frame = bytes.find("\xff\xc0");
  ASSERT_NE(frame, std::string::npos);
  for (std::size_t at = frame + 5; at < frame + 9; ++at) bytes[at] = static_cast<char>(0xff);
  std::ofstream(card() / "vast.jpg", std::ios::binary) << bytes;
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  EXPECT_EQ(read_frames_table(out() / "frames.csv").at("vast.jpg").at("verdict"), "drop");
}

TEST_F(HostileFiles, ThingsThatAreNoFilesNeverHoldTheRunUp) {
  ASSERT_EQ(::mkfifo((card() / "pipe.jpg").c_str(), 0600), 0);
  fs::create_symlink("/dev/zero", card() / "endless.jpg");
  fs::create_symlink(card() / "circle_b.jpg", card() / "circle_a.jpg");
  fs::create_symlink(card() / "circle_a.jpg", card() / "circle_b.jpg");
  fs::create_directories(card() / "deeper");
  fs::create_directory_symlink(card(), card() / "deeper" / "up");
  fs::create_symlink(card() / "gone.jpg", card() / "dangling.jpg");
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  const auto table = read_frames_table(out() / "frames.csv");
  for (int i = 0; i < 3; ++i)
    EXPECT_NE(table.at("frame_" + std::to_string(i) + ".jpg").at("placed"), "") << i;
  for (const auto& [file, row] : table) {
    const bool good = file.starts_with("frame_");
    EXPECT_TRUE(good || row.at("verdict") == "drop") << file;
    EXPECT_EQ(file.find("up/"), std::string::npos) << "the circle of folders was walked";
  }
}

TEST_F(HostileFiles, NamesWithControlCharactersReachNeitherTerminalNorTableRaw) {
  const std::string name = "new\nline\x1b[2J\x07.jpg";
  fs::copy_file(card() / "frame_0.jpg", card() / name);
  std::ofstream(card() / "broken\x1b[31m.jpg") << "words";
  const ProgramRun run = this->run();
  EXPECT_EQ(run.exit_code, 0) << run.errors;
  for (const std::string& said : {run.output, run.errors}) {
    EXPECT_EQ(said.find('\x1b'), std::string::npos) << said;
    EXPECT_EQ(said.find('\x07'), std::string::npos) << said;
  }
  const std::string table = bytes_of(out() / "frames.csv");
  EXPECT_EQ(table.find('\x1b'), std::string::npos) << "raw escape in the table";
  EXPECT_EQ(std::count(table.begin(), table.end(), '\n'), 6) << "a head and five rows";
}

TEST_F(HostileFiles, NamesDoNotActAsFormulasInSpreadsheets) {
  // OWASP's "CSV Injection": a cell that begins with = + - @, tab or carriage return is run as a formula.
  for (const char* name : {"=1+cmd|' '!A0.jpg", "+1.jpg", "-1.jpg", "@sum.jpg"})
    fs::copy_file(card() / "frame_0.jpg", card() / name);
  EXPECT_EQ(run().exit_code, 0);
  const std::string table = bytes_of(out() / "frames.csv");
  for (std::size_t row = 0; row < table.size(); row = table.find('\n', row) + 1) {
    const char first = table[row] == '"' ? table[row + 1] : table[row];
    EXPECT_EQ(std::string("=+-@\t\r").find(first), std::string::npos) << table.substr(row, 40);
    if (table.find('\n', row) == std::string::npos) break;
  }
}

TEST_F(HostileFiles, NamesDoNotActInThePage) {
  fs::copy_file(card() / "frame_0.jpg", card() / "<script>alert(1)<.jpg");
  EXPECT_EQ(run().exit_code, 0);
  EXPECT_THAT(bytes_of(out() / "report.html"), Not(HasSubstr("<script>alert(1)<")));
}

}  // namespace
}  // namespace lookdown
