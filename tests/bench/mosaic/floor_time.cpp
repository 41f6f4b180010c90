#include "tests/bench/mosaic/floor_time.h"

#include <gdal_priv.h>

#include <ctime>
#include <memory>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace lookdown::bench {
namespace {

/// Processor seconds of all threads: on a machine that others use too, the clock on the wall says little.
double processor_s() {
  return static_cast<double>(std::clock()) / CLOCKS_PER_SEC;
}

struct Closes {
  void operator()(GDALDataset* file) const { GDALClose(file); }
};
using OpenRaster = std::unique_ptr<GDALDataset, Closes>;

// The whole frame at the size that it has on the mosaic; the undistortion stands for any smooth map.
cv::Mat warped_once(const cv::Mat& frame, const FramePlacement& placement) {
  const Eigen::Matrix3d& h = placement.mosaic_from_frame.matrix;
  const Eigen::Vector3d q = h * Eigen::Vector3d(frame.cols / 2.0, frame.rows / 2.0, 1);
  const double scale = std::sqrt(std::abs(h.determinant() / (q.z() * q.z() * q.z())));
  const cv::Size size(static_cast<int>(frame.cols * scale), static_cast<int>(frame.rows * scale));
  cv::Mat map(size, CV_32FC2);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x)
      map.at<cv::Vec2f>(y, x) = {static_cast<float>(x / scale), static_cast<float>(y / scale)};
  cv::Mat warped;
  cv::remap(frame, warped, map, cv::noArray(), cv::INTER_LANCZOS4, cv::BORDER_REPLICATE);
  return warped;
}

double encode_once(const RunContext& context) {
  GDALAllRegister();
  const OpenRaster mosaic(GDALDataset::Open((context.out / "mosaic.tif").c_str()));
  const int width = mosaic->GetRasterXSize(), height = mosaic->GetRasterYSize();
  const OpenRaster memory(GetGDALDriverManager()->GetDriverByName("MEM")->CreateCopy(
      "", mosaic.get(), false, nullptr, nullptr, nullptr));
  const auto started = processor_s();
  CPLStringList options;
  for (const auto& [name, value] :
       {std::pair("COMPRESS", "DEFLATE"), std::pair("LEVEL", "1"), std::pair("PREDICTOR", "YES"),
        std::pair("OVERVIEW_RESAMPLING", "AVERAGE")})
    options.SetNameValue(name, value);
  options.SetNameValue("NUM_THREADS", std::to_string(context.scheduler.threads()).c_str());
  const auto file = context.out / "floor.tif";
  const OpenRaster made(GetGDALDriverManager()->GetDriverByName("COG")->CreateCopy(
      file.c_str(), memory.get(), false, options.List(), nullptr, nullptr));
  const double seconds = processor_s() - started;
  std::filesystem::remove(file);
  return width > 0 && height > 0 ? seconds : 0;
}

}  // namespace

FloorTime floor_time(const FlightRecord& flight, RunContext& context) {
  std::vector<const FrameRecord*> used;
  for (const FrameRecord& frame : flight.frames)
    if (frame.placement.placed && frame.decision.verdict != Verdict::drop) used.push_back(&frame);
  FloorTime floor;
  constexpr std::int64_t kFrameBytes = 100'000'000;
  std::vector<cv::Mat> decoded(used.size());
  // In batches, so that decoding and warping are timed apart without holding a whole flight.
  constexpr std::size_t kBatch = 16;
  for (std::size_t first = 0; first < used.size(); first += kBatch) {
    const std::size_t count = std::min(kBatch, used.size() - first);
    auto started = processor_s();
    context.scheduler.for_each_frame(
        count, kFrameBytes,
        [&](std::size_t i) { decoded[i] = std::move(*context.reader.bgr(used[first + i]->source.path)); },
        [](std::size_t, const std::optional<Fault>&) {});
    floor.decode_s += processor_s() - started;
    started = processor_s();
    context.scheduler.for_each_frame(
        count, kFrameBytes,
        [&](std::size_t i) { decoded[i] = warped_once(decoded[i], used[first + i]->placement); },
        [](std::size_t, const std::optional<Fault>&) {});
    floor.warp_s += processor_s() - started;
  }
  floor.encode_s = encode_once(context);
  return floor;
}

}  // namespace lookdown::bench
