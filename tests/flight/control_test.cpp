// Marks of control points proposed on the sample flight, held against where its renderer's truth shows them.
// The projection below is written out after OpenCV's calib3d documentation (pinhole camera with Brown
// distortion), not taken from the program.
#include <gtest/gtest.h>

#include <Eigen/Core>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <sstream>

#include "program_run.h"
#include "sample_run.h"

namespace lookdown {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

struct Row {
  std::string file, name, from;
  Eigen::Vector2d at;
};

std::string bare(std::string cell) {
  std::erase(cell, '"');
  return cell;
}

std::vector<Row> read_marks(const fs::path& file) {
  std::ifstream in(file);
  std::vector<Row> rows;
  std::string line;
  std::getline(in, line);
  EXPECT_EQ(line.substr(0, 19), "file,name,x_px,y_px");
  while (std::getline(in, line)) {
    std::vector<std::string> cells;
    std::istringstream cut(line);
    for (std::string cell; std::getline(cut, cell, ',');) cells.push_back(bare(cell));
    if (cells.size() >= 5)
      rows.push_back({cells[0], cells[1], cells[4], {std::stod(cells[2]), std::stod(cells[3])}});
  }
  return rows;
}

Eigen::Vector2d true_spot(const json& camera, const json& frame, const Eigen::Vector3d& world) {
  Eigen::Matrix3d rotation;
  for (int i = 0; i < 9; ++i) rotation(i / 3, i % 3) = frame["rotation"][std::size_t(i)];
  const auto& c = frame["centre_m"];
  const Eigen::Vector3d p = rotation.transpose() * (world - Eigen::Vector3d(c[0], c[1], c[2]));
  if (p.z() <= 0) return {-1, -1};
  const auto lens = [&](const char* name) { return camera[name].get<double>(); };
  const double u = p.x() / p.z(), v = p.y() / p.z(), r2 = u * u + v * v;
  const double radial = 1 + r2 * (lens("k1") + r2 * (lens("k2") + r2 * lens("k3")));
  return {
      lens("fx_px") * (u * radial + 2 * lens("p1") * u * v + lens("p2") * (r2 + 2 * u * u)) + lens("cx_px"),
      lens("fy_px") * (v * radial + lens("p1") * (r2 + 2 * v * v) + 2 * lens("p2") * u * v) + lens("cy_px")};
}

// One run serves all checks. Three marks in three frames start it; board B3 is marked nowhere. What a whole
// run has measured in the frames is at hand, as it is for a person who comes back to mark boards.
class ControlMarks : public ::testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<TemporaryFolder>();
    const fs::path marks = folder_->path() / "first_marks.csv";
    std::ofstream(marks) << "file,name,x_px,y_px\nA003.jpg,B1,1028.041,400.628\nA011.jpg,B2,823.841,839."
                            "882\nA022.jpg,B4,347.564,397.372\n";
    fs::create_directories(out());
    fs::copy(sample_run().out / ".cache", out() / ".cache", fs::copy_options::recursive);
    run_ = run_lookdown({"control", sample_frames().string(), "-o", out().string(), "--control-file",
                         (sample_frames() / "control.csv").string(), "--marks-file", marks.string()});
    truth_ = json::parse(std::ifstream(sample_frames() / "truth.json"));
    for (const json& f : truth_["frames"]) frames_[f["file"]] = f;
    rows_ = read_marks(out() / "marks.csv");
    control_ = {{"B1", {13.4741, 10.4074, 0}},
                {"B2", {86.8513, 6.8480, 0}},
                {"B3", {71.0452, 47.6963, 0}},
                {"B4", {16.4907, 50.9035, 0}}};
  }
  static void TearDownTestSuite() { folder_.reset(); }
  static fs::path out() { return folder_->path() / "out"; }
  static double off_px(const Row& row) {
    return (true_spot(truth_["camera"], frames_.at(row.file), control_.at(row.name)) - row.at).norm();
  }
  static bool sharp(const std::string& file) { return frames_.at(file)["sharp"]; }

  static inline std::unique_ptr<TemporaryFolder> folder_;
  static inline ProgramRun run_;
  static inline json truth_;
  static inline std::map<std::string, json> frames_;
  static inline std::map<std::string, Eigen::Vector3d> control_;
  static inline std::vector<Row> rows_;
};

TEST_F(ControlMarks, AreWithinHalfAPixelOfTheTruthInSharpFrames) {
  ASSERT_EQ(run_.exit_code, 0) << run_.errors;
  for (const Row& row : rows_)
    if (sharp(row.file)) {
      EXPECT_LT(off_px(row), 0.5) << row.name << " in " << row.file << " from " << row.from;
    }
}

TEST_F(ControlMarks, AreWithinAPixelInBlurredFramesToo) {
  for (const Row& row : rows_)
    EXPECT_LT(off_px(row), 1.0) << row.name << " in " << row.file << " from " << row.from;
}

TEST_F(ControlMarks, AreProposedWhereverASharpDownwardFrameShowsABoard) {
  std::map<std::pair<std::string, std::string>, bool> proposed;
  for (const Row& row : rows_) proposed[{row.file, row.name}] = true;
  constexpr double border = 12;
  for (const auto& [file, frame] : frames_)
    for (const auto& [name, world] : control_) {
      if (frame["kind"] != "nadir" || !frame["sharp"].get<bool>()) continue;
      const Eigen::Vector2d at = true_spot(truth_["camera"], frame, world);
      const double width = truth_["camera"]["width_px"], height = truth_["camera"]["height_px"];
      if (at.x() < border || at.y() < border || at.x() > width - 1 - border || at.y() > height - 1 - border)
        continue;
      EXPECT_TRUE(proposed.contains({file, name})) << name << " in " << file;
    }
}

TEST_F(ControlMarks, SayWhereTheyComeFrom) {
  int person = 0, picture = 0;
  for (const Row& row : rows_) {
    person += row.from == "person";
    picture += row.from == "picture";
    EXPECT_TRUE(row.name != "B3" || row.from == "placement")
        << "no picture of B3 has been marked to compare with";
  }
  EXPECT_EQ(person, 3);
  EXPECT_GE(picture, 8);
}

TEST_F(ControlMarks, HaveACropEachForAPersonToConfirm) {
  std::size_t crops = 0;
  for (const auto& entry : fs::directory_iterator(out() / "control")) {
    EXPECT_FALSE(cv::imread(entry.path().string()).empty()) << entry.path();
    ++crops;
  }
  EXPECT_EQ(crops, rows_.size());
}

TEST(Control, WithoutAMarkToStartFromIsWrongUse) {
  const TemporaryFolder folder;
  const ProgramRun run =
      run_lookdown({"control", sample_frames().string(), "-o", (folder.path() / "out").string()});
  EXPECT_EQ(run.exit_code, 2);
  EXPECT_NE(run.errors.find("--marks-file"), std::string::npos) << run.errors;
}

}  // namespace
}  // namespace lookdown
