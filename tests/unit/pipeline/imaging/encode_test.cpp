#include "pipeline/imaging/encode.h"

#include <gtest/gtest.h>
#include <exiv2/exiv2.hpp>

#include <atomic>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>
#include <thread>
#include <vector>

#include "pipeline/imaging/metadata/exiv2_lock.h"

namespace lookdown {
namespace {

cv::Mat decoded(const std::vector<std::uint8_t>& bytes) {
  return cv::imdecode(bytes, cv::IMREAD_UNCHANGED);
}

TEST(Encode, PngKeepsEveryPixelAtEitherEffort) {
  cv::Mat picture(37, 53, CV_8UC3);
  cv::randu(picture, 0, 256);
  for (const PngEffort effort : {PngEffort::quick, PngEffort::small})
    EXPECT_EQ(cv::norm(decoded(encode_png(picture, effort)), picture, cv::NORM_INF), 0);
}

TEST(Encode, WhatCannotBeEncodedIsAnErrorAndNoEmptyFile) {
  EXPECT_THROW(encode_png(cv::Mat(), PngEffort::quick), std::runtime_error);
  EXPECT_THROW(encode_jpeg(cv::Mat(1, 70'000, CV_8UC3), 90), std::runtime_error);  // JPEG ends at 65 535
  EXPECT_THROW(encode_picture(".nothing", cv::Mat::zeros(4, 4, CV_8UC1), 90), std::runtime_error);
}

// The toolkit's tables are global: without one lock for all who use it, threads that register a namespace
// while others parse end in corrupted tables now and then (and always in a report of the thread sanitizer).
TEST(Exiv2Lock, ManyThreadsMayParseAndRegister) {
  std::atomic<int> read{0};
  std::vector<std::thread> threads;
  for (int t = 0; t < 4; ++t)
    threads.emplace_back([&, t] {
      for (int i = 0; i < 50; ++i) {
        const auto lock = exiv2_lock();
        const std::string prefix = "own" + std::to_string(t);
        Exiv2::XmpProperties::registerNs("http://example.org/" + prefix + "/", prefix);
        Exiv2::XmpData xmp;
        xmp["Xmp." + prefix + ".value"] = "1";
        std::string packet;
        read += Exiv2::XmpParser::encode(packet, xmp) == 0;
      }
    });
  for (std::thread& thread : threads) thread.join();
  EXPECT_EQ(read, 200);
}

}  // namespace
}  // namespace lookdown
