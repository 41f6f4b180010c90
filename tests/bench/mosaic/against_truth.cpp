#include "tests/bench/mosaic/against_truth.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <vector>

#include "tests/bench/mosaic/colour_differences.h"
#include "tests/bench/mosaic/ground_tie.h"

namespace lookdown::bench {
namespace {

using nlohmann::json;

constexpr int kPatch = 128;

struct Scene {
  cv::Mat mosaic, covered, sources;  ///< BGR, 255 where alpha is full, 16 bit
  cv::Mat truth,
      truth_known;  ///< the ground on the mosaic's grid; 255 where there is ground truth and it is flat
};

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  std::nth_element(values.begin(), values.begin() + values.size() / 2, values.end());
  return values[values.size() / 2];
}

cv::Mat truth_picture(const json& ground, const std::filesystem::path& folder) {
  cv::Mat picture = cv::imread((folder / ground.at("file").get<std::string>()).string(), cv::IMREAD_COLOR);
  if (picture.empty()) throw std::runtime_error("no ground truth picture");
  return picture;
}

double scale_of(const cv::Matx33d& similarity) {
  return std::hypot(similarity(0, 0), similarity(1, 0));
}

void resample_truth(const json& ground, const std::filesystem::path& folder,
                    const cv::Matx33d& ground_from_mosaic, Scene& scene) {
  cv::Mat picture = truth_picture(ground, folder);
  const double gsd_m = ground.at("gsd_m"), x0_m = ground.at("x0_m"), y1_m = ground.at("y1_m");
  const double ratio = scale_of(ground_from_mosaic) / gsd_m;  // truth pixels per mosaic pixel
  if (ratio > 1) cv::GaussianBlur(picture, picture, {}, 0.4 * std::sqrt(ratio * ratio - 1));
  const cv::Matx33d truth_from_ground(1 / gsd_m, 0, -x0_m / gsd_m, 0, -1 / gsd_m, y1_m / gsd_m, 0, 0, 1);
  const cv::Matx23d truth_from_mosaic = (truth_from_ground * ground_from_mosaic).get_minor<2, 3>(0, 0);
  const int how = cv::WARP_INVERSE_MAP | cv::INTER_CUBIC;
  cv::warpAffine(picture, scene.truth, truth_from_mosaic, scene.mosaic.size(), how, cv::BORDER_REPLICATE);
  cv::warpAffine(cv::Mat(picture.size(), CV_8UC1, cv::Scalar(255)), scene.truth_known, truth_from_mosaic,
                 scene.mosaic.size(), cv::WARP_INVERSE_MAP | cv::INTER_NEAREST, cv::BORDER_CONSTANT,
                 cv::Scalar(0));
}

/// What stands off the plane leans and throws a shadow that the truth may lack: it is no measure of the
/// mosaic. Everything within 3 m of a block is left out.
void leave_out_blocks(const json& truth, const cv::Matx33d& ground_from_mosaic, cv::Mat& known) {
  const json relief = truth.value("relief", json::object());
  std::vector<json> outlines;
  if (relief.is_object() && relief.contains("blocks"))
    for (const json& block : relief["blocks"]) outlines.push_back(block.at("outline"));
  else if (relief.is_object() && relief.contains("roof_outline") && relief["roof_outline"].is_array())
    outlines.push_back(relief["roof_outline"]);
  const cv::Matx33d mosaic_from_ground = ground_from_mosaic.inv();
  for (const json& outline : outlines) {
    if (outline.empty()) continue;
    std::vector<cv::Point> corners;
    for (const json& corner : outline) {
      const cv::Vec3d at =
          mosaic_from_ground * cv::Vec3d(corner[0].get<double>(), corner[1].get<double>(), 1);
      corners.emplace_back(static_cast<int>(std::lround(at[0])), static_cast<int>(std::lround(at[1])));
    }
    cv::Mat block(known.size(), CV_8UC1, cv::Scalar(0));
    cv::fillPoly(block, std::vector<std::vector<cv::Point>>{corners}, cv::Scalar(255));
    cv::polylines(block, std::vector<std::vector<cv::Point>>{corners}, true, cv::Scalar(255),
                  static_cast<int>(6 / scale_of(ground_from_mosaic)));
    known.setTo(0, block);
  }
}

Scene load_scene(const json& truth, const std::filesystem::path& folder, const std::filesystem::path& out,
                 const cv::Matx33d& ground_from_mosaic) {
  Scene scene;
  cv::Mat four = cv::imread((out / "mosaic.tif").string(), cv::IMREAD_UNCHANGED);
  if (four.depth() == CV_16U) four.convertTo(four, CV_8U, 1 / 257.0);
  scene.sources = cv::imread((out / "mosaic_sources.tif").string(), cv::IMREAD_UNCHANGED);
  if (four.channels() != 4 || scene.sources.type() != CV_16UC1)
    throw std::runtime_error("mosaic files have an unexpected form");
  cv::extractChannel(four, scene.covered, 3);
  cv::cvtColor(four, scene.mosaic, cv::COLOR_BGRA2BGR);
  resample_truth(truth.at("ground"), folder, ground_from_mosaic, scene);
  leave_out_blocks(truth, ground_from_mosaic, scene.truth_known);
  return scene;
}

cv::Mat grey_float(const cv::Mat& bgr) {
  cv::Mat grey;
  cv::cvtColor(bgr, grey, cv::COLOR_BGR2GRAY);
  grey.convertTo(grey, CV_32F);
  return grey;
}

template <class Use>
void for_each_full_patch(const Scene& scene, Use use) {
  for (int y = 0; y + kPatch <= scene.mosaic.rows; y += kPatch)
    for (int x = 0; x + kPatch <= scene.mosaic.cols; x += kPatch) {
      const cv::Rect patch(x, y, kPatch, kPatch);
      if (cv::countNonZero(scene.covered(patch) & scene.truth_known(patch)) == patch.area()) use(patch);
    }
}

Geometry measure_geometry(const Scene& scene) {
  const cv::Mat mosaic = grey_float(scene.mosaic), truth = grey_float(scene.truth);
  cv::Mat window;
  cv::createHanningWindow(window, {kPatch, kPatch}, CV_32F);
  std::vector<double> shifts;
  double squares = 0;
  for_each_full_patch(scene, [&](const cv::Rect& patch) {
    double peak = 0;
    const cv::Point2d shift = cv::phaseCorrelate(truth(patch).clone(), mosaic(patch).clone(), window, &peak);
    if (peak < 0.25) return;
    shifts.push_back(cv::norm(shift));
    squares += shift.dot(shift);
  });
  Geometry geometry;
  geometry.patches = static_cast<int>(shifts.size());
  geometry.rmse_px = shifts.empty() ? 0 : std::sqrt(squares / static_cast<double>(shifts.size()));
  geometry.median_px = median(shifts);
  return geometry;
}

Seams measure_seams(const Scene& scene) {
  const cv::Mat mosaic = grey_float(scene.mosaic), truth = grey_float(scene.truth);
  const cv::Mat known = scene.covered & scene.truth_known;
  double seam[2]{}, other[2]{};
  std::int64_t seams = 0, others = 0;
  for (int row = 0; row + 1 < known.rows; ++row)
    for (int column = 0; column + 1 < known.cols; ++column)
      for (const cv::Point step : {cv::Point(1, 0), cv::Point(0, 1)}) {
        const cv::Point here(column, row), there = here + step;
        if (!known.at<uchar>(here) || !known.at<uchar>(there)) continue;
        const double of_mosaic = std::abs(mosaic.at<float>(there) - mosaic.at<float>(here));
        const double of_truth = std::abs(truth.at<float>(there) - truth.at<float>(here));
        const bool across = scene.sources.at<ushort>(here) != scene.sources.at<ushort>(there);
        (across ? seam : other)[0] += of_mosaic;
        (across ? seam : other)[1] += of_truth;
        ++(across ? seams : others);
      }
  Seams result;
  if (seams == 0 || others == 0) return result;
  const double by_count = static_cast<double>(others) / static_cast<double>(seams);
  result.gradient_ratio = seam[0] / other[0] * by_count;
  result.excess_ratio = result.gradient_ratio / (seam[1] / other[1] * by_count);
  result.seam_share = static_cast<double>(seams) / static_cast<double>(seams + others);
  return result;
}

cv::Mat map_of(const FramePlacement& placement, const cv::Rect& area) {
  const cv::Mat intrinsics = (cv::Mat_<double>(3, 3) << placement.camera.fx_px, 0, placement.camera.cx_px, 0,
                              placement.camera.fy_px, placement.camera.cy_px, 0, 0, 1);
  const std::vector<double> lens{placement.camera.k1, placement.camera.k2, placement.camera.p1,
                                 placement.camera.p2, placement.camera.k3};
  const Eigen::Matrix3d inverse = placement.mosaic_from_frame.matrix.inverse();
  std::vector<cv::Point3d> rays;
  for (int y = area.y; y < area.br().y; ++y)
    for (int x = area.x; x < area.br().x; ++x) {
      const Eigen::Vector3d p = inverse * Eigen::Vector3d(x, y, 1);
      rays.emplace_back((p.x() / p.z() - placement.camera.cx_px) / placement.camera.fx_px,
                        (p.y() / p.z() - placement.camera.cy_px) / placement.camera.fy_px, 1);
    }
  std::vector<cv::Point2d> points;
  cv::projectPoints(rays, cv::Vec3d(), cv::Vec3d(), intrinsics, lens, points);
  cv::Mat map(area.size(), CV_32FC2);
  for (int i = 0; i < area.area(); ++i)
    map.at<cv::Vec2f>(i / area.width, i % area.width) = {static_cast<float>(points[i].x),
                                                         static_cast<float>(points[i].y)};
  return map;
}

std::vector<const FrameRecord*> placed_frames(const FlightRecord& flight) {
  std::vector<const FrameRecord*> placed;
  for (const FrameRecord& frame : flight.frames)
    if (frame.placement.placed) placed.push_back(&frame);
  return placed;
}

/// Sums of the cross spectrum and of the truth's own by radius, for the transfer from truth to picture.
class Transfer {
 public:
  void add(const cv::Mat& truth, const cv::Mat& picture) {
    cv::Mat window;
    cv::createHanningWindow(window, truth.size(), CV_32F);
    const cv::Mat a = spectrum(truth, window), b = spectrum(picture, window);
    for (int row = 0; row < a.rows; ++row)
      for (int column = 0; column < a.cols; ++column) {
        const double fy = static_cast<double>(row <= a.rows / 2 ? row : row - a.rows) / a.rows,
                     fx = static_cast<double>(column <= a.cols / 2 ? column : column - a.cols) / a.cols;
        const auto bin = static_cast<std::size_t>(std::hypot(fx, fy) * kBins);
        if (bin >= cross_.size()) continue;
        const cv::Vec2f t = a.at<cv::Vec2f>(row, column), p = b.at<cv::Vec2f>(row, column);
        cross_[bin] += t[0] * p[0] + t[1] * p[1];
        own_[bin] += t[0] * t[0] + t[1] * t[1];
      }
  }
  [[nodiscard]] double mtf50() const {
    const auto at = [&](std::size_t bin) { return own_[bin] > 0 ? cross_[bin] / own_[bin] : 0; };
    const double low = (at(2) + at(3) + at(4)) / 3;
    for (std::size_t bin = 5; bin < cross_.size(); ++bin)
      if (at(bin) < 0.5 * low)
        return (static_cast<double>(bin) - 0.5 + (at(bin - 1) - 0.5 * low) / (at(bin - 1) - at(bin))) / kBins;
    return 0.5;
  }

 private:
  static constexpr double kBins = 64;  // a cycle a pixel
  static cv::Mat spectrum(const cv::Mat& grey, const cv::Mat& window) {
    cv::Mat centred = grey - cv::mean(grey)[0], out;
    centred = centred.mul(window);
    cv::dft(centred, out, cv::DFT_COMPLEX_OUTPUT);
    return out;
  }
  std::vector<double> cross_ = std::vector<double>(32), own_ = std::vector<double>(32);
};

Detail measure_detail(const FlightRecord& flight, const Scene& scene) {
  const cv::Mat mosaic = grey_float(scene.mosaic), truth = grey_float(scene.truth);
  const auto placed = placed_frames(flight);
  Transfer of_mosaic, of_frames;
  std::vector<std::vector<cv::Rect>> patches(placed.size());
  int number = 0;
  for_each_full_patch(scene, [&](const cv::Rect& patch) {
    if (++number % 3 != 0) return;  // a third tells enough
    const ushort source = scene.sources.at<ushort>(patch.y + kPatch / 2, patch.x + kPatch / 2);
    if (source < placed.size()) patches[source].push_back(patch);
  });
  for (std::size_t source = 0; source < placed.size(); ++source) {
    if (patches[source].empty()) continue;
    const cv::Mat frame =
        cv::imread(placed[source]->source.path.string(), cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    for (const cv::Rect& patch : patches[source]) {
      const cv::Mat map = map_of(placed[source]->placement, patch);
      double least, most;
      cv::minMaxLoc(map.reshape(1), &least, &most);
      if (least < 0) continue;
      cv::Mat alone;
      cv::remap(frame, alone, map, cv::noArray(), cv::INTER_CUBIC, cv::BORDER_REPLICATE);
      of_frames.add(truth(patch), grey_float(alone));
      of_mosaic.add(truth(patch), mosaic(patch));
    }
  }
  return {of_mosaic.mtf50(), of_frames.mtf50()};
}

/// `kind`: which of the truth's masks, "glare" or "visible_glare".
GlareLeft measure_glare(const FlightRecord& flight, const json& truth, const std::filesystem::path& folder,
                        const Scene& scene, const char* kind) {
  const auto placed = placed_frames(flight);
  constexpr int kStep = 2;  // every second pixel each way
  const cv::Size small(scene.mosaic.cols / kStep, scene.mosaic.rows / kStep);
  cv::Mat weight(small, CV_64F, cv::Scalar(0)), feathered = weight.clone(),
                                                clean(small, CV_8UC1, cv::Scalar(0)), shown = clean.clone();
  for (std::size_t source = 0; source < placed.size(); ++source) {
    cv::Mat mask;
    for (const json& frame : truth.at("frames"))
      if (frame.at("file") == placed[source]->source.file && frame.contains("masks") &&
          frame["masks"].is_object() && frame["masks"].contains(kind))
        mask =
            cv::imread((folder / frame["masks"].at(kind).get<std::string>()).string(), cv::IMREAD_GRAYSCALE);
    if (mask.empty() || placed[source]->decision.verdict == Verdict::drop) continue;
    const FramePlacement& placement = placed[source]->placement;
    const Eigen::Matrix3d inverse = placement.mosaic_from_frame.matrix.inverse();
    for (int row = 0; row < small.height; ++row)
      for (int column = 0; column < small.width; ++column) {
        const Eigen::Vector3d p = inverse * Eigen::Vector3d(column * kStep, row * kStep, 1);
        const double x = p.x() / p.z(), y = p.y() / p.z();
        if (!(x > -60 && y > -60 && x < placement.camera.width_px + 60 &&
              y < placement.camera.height_px + 60))
          continue;
        const auto stored = placement.camera.distort({x, y});
        const double edge = std::min(std::min(stored.x, placement.camera.width_px - 1 - stored.x),
                                     std::min(stored.y, placement.camera.height_px - 1 - stored.y));
        if (edge < 0) continue;
        const bool glare =
            mask.at<uchar>(static_cast<int>(stored.y + 0.5), static_cast<int>(stored.x + 0.5)) > 127;
        weight.at<double>(row, column) += edge + 1;
        if (glare) feathered.at<double>(row, column) += edge + 1;
        if (!glare) clean.at<uchar>(row, column) = 1;
        if (glare && scene.sources.at<ushort>(row * kStep, column * kStep) == source)
          shown.at<uchar>(row, column) = 1;
      }
  }
  GlareLeft left;
  double in_feathered = 0;
  for (int row = 0; row < small.height; ++row)
    for (int column = 0; column < small.width; ++column) {
      if (weight.at<double>(row, column) > 0)
        in_feathered += feathered.at<double>(row, column) / weight.at<double>(row, column);
      left.glare_px += shown.at<uchar>(row, column) * kStep * kStep;
      if (shown.at<uchar>(row, column) && clean.at<uchar>(row, column)) left.avoidable_px += kStep * kStep;
    }
  left.feathered_px = in_feathered * kStep * kStep;
  left.unavoidable_px = left.glare_px - left.avoidable_px;
  left.of_feathered = in_feathered > 0 ? left.glare_px / (in_feathered * kStep * kStep) : 0;
  return left;
}

}  // namespace

Measures measure_against_truth(const FlightRecord& flight, const std::filesystem::path& folder,
                               const std::filesystem::path& out, Tie how) {
  const json truth = json::parse(std::ifstream(folder / "truth.json"));
  Measures measures;
  if (!truth.contains("ground") || !truth["ground"].is_object() || !truth["ground"].contains("file") ||
      truth["ground"]["file"].is_null())
    return measures;
  const cv::Matx33d ground_from_mosaic = how == Tie::by_grid && flight.placement.geotransform
                                             ? grid_of(*flight.placement.geotransform)
                                             : fitted_grid(flight, truth);
  const Scene scene = load_scene(truth, folder, out, ground_from_mosaic);
  measures.geometry = measure_geometry(scene);
  measures.colour =
      colour_differences(scene.mosaic, scene.truth, scene.covered & scene.truth_known, kColourBlock_px);
  measures.broad_colour =
      colour_differences(scene.mosaic, scene.truth, scene.covered & scene.truth_known, kBroadColourBlock_px);
  measures.seams = measure_seams(scene);
  measures.detail = measure_detail(flight, scene);
  measures.glare = measure_glare(flight, truth, folder, scene, "glare");
  measures.glare_in_sight = measure_glare(flight, truth, folder, scene, "visible_glare");
  return measures;
}

}  // namespace lookdown::bench
