// Draws what the single-frame search finds: show_glare OUT_FOLDER PICTURE...
// Water is outlined in blue, glare filled in red; the original stands beside it.
#include <fmt/format.h>

#include <chrono>
#include <filesystem>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "pipeline/imaging/frame_reader.h"
#include "stages/glare/glare.h"

namespace {

cv::Mat overlay_of(const cv::Mat& bgr, const lookdown::glare::Found& found) {
  cv::Mat drawn = bgr.clone();
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(found.water_mask->clone(), outlines, cv::RETR_LIST, cv::CHAIN_APPROX_NONE);
  cv::drawContours(drawn, outlines, -1, {255, 80, 0}, std::max(1, bgr.cols / 500));
  drawn.setTo(cv::Scalar(0, 0, 255), *found.glare_mask);
  return drawn;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) return fmt::print("usage: show_glare OUT_FOLDER PICTURE...\n"), 2;
  std::filesystem::create_directories(argv[1]);
  const lookdown::FrameReader reader;
  for (int i = 2; i < argc; ++i) {
    const auto header = reader.header(argv[i]);
    if (!header) continue;
    lookdown::FrameSource source;
    source.file = std::filesystem::path(argv[i]).filename();
    source.path = argv[i];
    source.width_px = header->width_px;
    source.height_px = header->height_px;
    source.format = header->format;
    lookdown::FramePixels pixels(reader, source);
    const auto started = std::chrono::steady_clock::now();
    const auto found = lookdown::glare::find(pixels, {}, {}, {}, {});
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - started;
    cv::Mat both;
    cv::hconcat(pixels.bgr(), overlay_of(pixels.bgr(), found), both);
    cv::imwrite((std::filesystem::path(argv[1]) / std::filesystem::path(argv[i]).stem()).string() + ".jpg",
                both);
    fmt::print("{}: water {:.3f} glare {:.4f} in {:.3f} s\n", source.file, found.glare.water_share,
               found.glare.glare_share, took.count());
  }
}
