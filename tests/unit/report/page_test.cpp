#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "stages/report/page_content.h"
#include "stages/report/page_template.h"
#include "stages/report/pictures/control_marks.h"
#include "stages/report/pictures/frame_pictures.h"
#include "stages/report/pictures/map_layers.h"
#include "stages/report/pictures/repeat_crops.h"
#include "tests/unit/report/made_flight.h"

namespace lookdown::report {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::Not;

/// A made-up flight on disk with what a stage needs around it; removed at the end.
class MadeFlightOnDisk : public testing::Test {
 protected:
  MadeFlightOnDisk()
      : out_(std::filesystem::temp_directory_path() / ("report_" + std::to_string(::getpid()))),
        flight_(test::make_flight(out_, 18, 720)) {
    options_.marks_file = flight_.marks_file;
  }
  ~MadeFlightOnDisk() override { std::filesystem::remove_all(out_); }

  std::string page() {
    write(flight_.record, options_, context_);
    std::ifstream file(out_ / "report.html", std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
  }
  /// Text of a <script type="application/json"> as a browser finds it: up to the first end tag.
  static json script_json(const std::string& page, const std::string& id) {
    const std::string tag = "id=\"" + id + "\">";
    const std::size_t begin = page.find(tag) + tag.size();
    return json::parse(page.substr(begin, page.find("</script", begin) - begin));
  }

  std::filesystem::path out_;
  test::MadeFlight flight_;
  Options options_;
  FrameReader reader_;
  Scheduler scheduler_{{2, 500'000'000}};
  Cache cache_{""};
  Progress progress_{false};
  RunContext context_{out_, reader_, scheduler_, cache_, progress_};
};

TEST_F(MadeFlightOnDisk, HostileFileNameReachesThePageAsTextOnly) {
  const std::string text = page();
  EXPECT_THAT(text, Not(HasSubstr("<img src=x")));
  EXPECT_EQ(test::kHostileName, script_json(text, "flight-json")["frames"][5]["file"].get<std::string>());
}

TEST_F(MadeFlightOnDisk, PageNamesNothingOutsideItself) {
  const std::string text = page();
  for (const char* reach : {"src=\"http", "href=\"http", "@import", "fetch(", "XMLHttpRequest", "import("}) {
    EXPECT_THAT(text, Not(HasSubstr(reach)));
  }
  // A reference that begins with # stays within the page.
  for (std::size_t at = text.find("url("); at != std::string::npos; at = text.find("url(", at + 1))
    EXPECT_EQ(text[at + 4], '#') << text.substr(at, 60);
}

TEST_F(MadeFlightOnDisk, EveryReadableFrameHasItsPictureOnce) {
  const json pictures = script_json(page(), "pictures-json");
  ASSERT_EQ(flight_.record.frames.size(), pictures["whole"].size());
  for (std::size_t i = 0; i < flight_.record.frames.size(); ++i) {
    EXPECT_EQ(flight_.record.frames[i].fault.has_value(), pictures["whole"][i].get<std::string>().empty());
  }
}

TEST_F(MadeFlightOnDisk, SameRecordGivesTheSameBytes) {
  EXPECT_EQ(page(), page());
}

TEST_F(MadeFlightOnDisk, FrameThatVanishedSinceKeepsItsRow) {
  std::filesystem::remove(flight_.record.frames[7].source.path);
  const std::string text = page();
  EXPECT_TRUE(script_json(text, "pictures-json")["whole"][7].get<std::string>().empty());
  EXPECT_EQ(18U, script_json(text, "flight-json")["frames"].size());
}

TEST_F(MadeFlightOnDisk, NearRepeatIsShownAtTheSameGround) {
  const auto groups = repeat_crops(flight_.record, options_, context_);
  ASSERT_EQ(1U, groups.size());
  ASSERT_EQ(2U, groups[0].size());
  EXPECT_EQ("placement", groups[0][1].aligned_by);
  const auto decoded = [](const std::string& jpeg) {
    return cv::imdecode(cv::Mat(1, static_cast<int>(jpeg.size()), CV_8UC1, const_cast<char*>(jpeg.data())),
                        cv::IMREAD_GRAYSCALE);
  };
  // Both frames were cut from the same ground, so phase correlation must find them in place.
  cv::Mat best, other, window;
  decoded(groups[0][0].jpeg).convertTo(best, CV_32F);
  decoded(groups[0][1].jpeg).convertTo(other, CV_32F);
  ASSERT_EQ(best.size(), other.size());
  cv::createHanningWindow(window, best.size(), CV_32F);
  const cv::Point2d shift_px = cv::phaseCorrelate(best, other, window);
  EXPECT_LT(std::hypot(shift_px.x, shift_px.y), 0.3);
  cv::Mat correlation;
  cv::matchTemplate(best, other, correlation, cv::TM_CCOEFF_NORMED);
  EXPECT_GT(correlation.at<float>(0, 0), 0.9);
}

TEST_F(MadeFlightOnDisk, WrongMarkStandsOutFromWhereItIsExpected) {
  std::vector<double> off_px;
  for (const MarkPlace& place : control_marks(flight_.record, options_, context_)) {
    if (!place.marked || !place.expected) continue;
    off_px.push_back(std::hypot(place.marked->x - place.expected->x, place.marked->y - place.expected->y));
    EXPECT_FALSE(place.jpeg.empty());
  }
  std::sort(off_px.begin(), off_px.end());
  ASSERT_GT(off_px.size(), 2U);
  EXPECT_NEAR(12, off_px.back(), 0.02);
  EXPECT_LT(off_px[off_px.size() - 2], 1);
}

TEST_F(MadeFlightOnDisk, SourcesPictureTellsTheFrameOfEachSpot) {
  const std::string png = sources_picture(flight_.record, context_);
  const cv::Mat coded = cv::imdecode(
      cv::Mat(1, static_cast<int>(png.size()), CV_8UC1, const_cast<char*>(png.data())), cv::IMREAD_COLOR);
  const cv::Mat sources = cv::imread((out_ / "mosaic_sources.tif").string(), cv::IMREAD_UNCHANGED);
  ASSERT_EQ(sources.size(), coded.size());
  int wrong = 0;
  for (int row = 0; row < coded.rows; ++row) {
    for (int column = 0; column < coded.cols; ++column) {
      const cv::Vec3b code = coded.at<cv::Vec3b>(row, column);
      const int told = code[0] == 0 ? 65535 : code[2] + 256 * code[1];
      wrong += told != sources.at<std::uint16_t>(row, column);
    }
  }
  EXPECT_EQ(0, wrong);
}

TEST(JpegWithin, KeepsToItsBytesEvenForNoise) {
  cv::Mat noise(600, 900, CV_8UC3);
  cv::randu(noise, 0, 256);
  for (const int most_bytes : {200'000, 30'000, 4'000}) {
    EXPECT_LE(jpeg_within(noise, most_bytes).size(), static_cast<std::size_t>(most_bytes));
  }
}

// Test vectors of RFC 4648, section 10.
TEST(Base64, AgreesWithTheStandardsVectors) {
  const std::map<std::string, std::string> vectors{{"", ""},
                                                   {"f", "Zg=="},
                                                   {"fo", "Zm8="},
                                                   {"foo", "Zm9v"},
                                                   {"foob", "Zm9vYg=="},
                                                   {"fooba", "Zm9vYmE="},
                                                   {"foobar", "Zm9vYmFy"}};
  for (const auto& [bytes, text] : vectors) EXPECT_EQ(text, base64(bytes));
}

TEST(JsonForPage, CannotEndItsElementAndReadsBackTheSame) {
  const json content = {{"name", "</script><script>alert(1)</script><!--"}, {"number", 1.5}};
  const std::string text = json_for_page(content);
  EXPECT_THAT(text, Not(HasSubstr("<")));
  EXPECT_EQ(content, json::parse(text));
}

TEST(JsonForPage, BytesThatAreNotUtf8DoNotStopThePage) {
  EXPECT_NO_THROW(EXPECT_FALSE(json_for_page(json{{"name", "\xff\xfe.jpg"}}).empty()));
}

TEST(FilledPage, MarkersInsideTextsStayText) {
  const std::string page = filled_page({{"FLIGHT", "{\"name\": \"{{SCRIPTS}}\"}"}, {"PICTURES", "{}"}});
  EXPECT_THAT(page, HasSubstr("{\"name\": \"{{SCRIPTS}}\"}"));
}

}  // namespace
}  // namespace lookdown::report
