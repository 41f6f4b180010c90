// against_stitcher FOLDER OUT [--first N] [--every K] [--threads T]: the frames of a flight with a truth.json
// placed by this program and by OpenCV's general stitching class (cv::Stitcher, affine mode, registration
// only), each in a process of its own: wall and processor time, peak memory, frames placed, RMSE against
// truth after the best similarity.
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/stitching.hpp>

#include "bench_placement.h"
#include "placement_score.h"

namespace {

using namespace lookdown;
using nlohmann::json;

/// In affine mode the class keeps, in place of a rotation, the affine map from its panorama to the reduced
/// frame that it worked on.
json map_of(const cv::detail::CameraParams& camera, double work_scale) {
  cv::Mat work_from_panorama;
  camera.R.convertTo(work_from_panorama, CV_64F);
  const double shift = 0.5 * work_scale - 0.5;
  const cv::Matx33d work_from_frame(work_scale, 0, shift, 0, work_scale, shift, 0, 0, 1);
  const cv::Matx33d panorama_from_frame = cv::Matx33d(work_from_panorama).inv() * work_from_frame;
  json numbers = json::array();
  for (const double value : panorama_from_frame.val) numbers.push_back(value);
  return numbers;
}

void stitch(const std::vector<std::filesystem::path>& files, const std::filesystem::path& out) {
  std::vector<cv::Mat> pictures;
  for (const auto& file : files)
    pictures.push_back(cv::imread(file.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION));
  const auto stitcher = cv::Stitcher::create(cv::Stitcher::SCANS);
  json placement{{"gsd_m", nullptr}, {"frames", json::array()}, {"not_placed", json::array()}};
  if (stitcher->estimateTransform(pictures) == cv::Stitcher::OK) {
    const auto& cameras = stitcher->cameras();
    const auto& joined = stitcher->component();
    for (std::size_t i = 0; i < joined.size(); ++i)
      placement["frames"].push_back({{"file", files[std::size_t(joined[i])].filename().string()},
                                     {"group", 0},
                                     {"camera",
                                      {{"fx_px", 1000.0},
                                       {"fy_px", 1000.0},
                                       {"cx_px", 0.0},
                                       {"cy_px", 0.0},
                                       {"k1", 0.0},
                                       {"k2", 0.0},
                                       {"p1", 0.0},
                                       {"p2", 0.0},
                                       {"k3", 0.0}}},
                                     {"rotation", {1, 0, 0, 0, -1, 0, 0, 0, -1}},
                                     {"frame_to_mosaic", map_of(cameras[i], stitcher->workScale())}});
  }
  std::filesystem::create_directories(out);
  std::ofstream(out / "placement.json") << placement.dump(1);
}

void report(const char* name, const bench::Cost& cost, const std::filesystem::path& truth,
            const std::filesystem::path& out, std::size_t frames) {
  if (!cost.ended_well) {
    std::printf("%-12s failed after %.1f s\n", name, cost.wall_s);
    return;
  }
  const auto score = bench::score_placement(truth, out / "placement.json");
  int joined = 0;
  for (const auto& f : score.frames) joined += f.placed && f.group == 0;
  std::printf("%-12s %8.1f %8.1f %8.0f   %4d of %zu   %10.2f\n", name, cost.wall_s, cost.cpu_s, cost.peak_mb,
              joined, frames, score.rmse_px);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) return 2;
  const std::filesystem::path folder = argv[1], out = argv[2], truth = folder / "truth.json";
  std::size_t first = 0, every = 1;
  int threads = 0;
  for (int i = 3; i + 1 < argc; i += 2) {
    const std::string flag = argv[i];
    if (flag == "--first") first = std::size_t(std::atoi(argv[i + 1]));
    if (flag == "--every") every = std::size_t(std::atoi(argv[i + 1]));
    if (flag == "--threads") threads = std::atoi(argv[i + 1]);
  }
  const auto files = bench::frames_of(folder, first, every);
  std::printf("%-12s %8s %8s %8s   %s   %s\n", "", "wall s", "cpu s", "peak MB", "joined", "RMSE px");
  std::filesystem::remove_all(out);
  const auto own = bench::cost_of([&] { bench::place_frames(files, truth, out / "own", {}, threads); });
  report("lookdown", own, truth, out / "own", files.size());
  const auto other = bench::cost_of([&] {
    if (threads > 0) cv::setNumThreads(threads);
    stitch(files, out / "stitcher");
  });
  report("cv::Stitcher", other, truth, out / "stitcher", files.size());
}
