
#include <cpl_error.h>
#include <cpl_string.h>
#include <fmt/format.h>
#include <gdal_priv.h>
#include <gdal_utils.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "pipeline/base/angles.h"
#include "pipeline/base/files/atomic_file.h"
#include "pipeline/imaging/raster_window.h"
#include "stages/measure/measure.h"

namespace lookdown::measure {
namespace {

GDALDatasetUniquePtr open_mosaic(const std::filesystem::path& out) {
  GDALAllRegister();
  GDALDatasetUniquePtr raster(GDALDataset::Open((out / "mosaic.tif").c_str(), GDAL_OF_RASTER));
  if (!raster)
    throw InputError((out / "mosaic.tif").string() +
                     ": cannot be opened; give the output folder of a run that made a mosaic");
  if (raster->GetRasterCount() < 4)
    throw InputError((out / "mosaic.tif").string() + ": has no colours with alpha");
  return raster;
}

struct Picture {
  cv::Mat grey, seen;  ///< CV_8UC1
};

/// Part of a mosaic read at `size`; what lies beyond its edge is not seen.
Picture read_part(GDALDataset& mosaic, const cv::Rect& area, cv::Size size) {
  const cv::Rect inside = area & cv::Rect(0, 0, mosaic.GetRasterXSize(), mosaic.GetRasterYSize());
  cv::Mat four(size, CV_8UC4, cv::Scalar::all(0));
  if (!inside.empty()) {
    const double factor_x = static_cast<double>(size.width) / area.width,
                 factor_y = static_cast<double>(size.height) / area.height;
    const cv::Rect target = cv::Rect(static_cast<int>((inside.x - area.x) * factor_x),
                                     static_cast<int>((inside.y - area.y) * factor_y),
                                     std::max(1, static_cast<int>(inside.width * factor_x)),
                                     std::max(1, static_cast<int>(inside.height * factor_y))) &
                            cv::Rect({}, size);
    const cv::Mat read = rgba_window(mosaic, inside, target.size());
    if (read.empty()) throw InputError(std::string("a mosaic cannot be read: ") + CPLGetLastErrorMsg());
    read.copyTo(four(target));
  }
  Picture picture;
  cv::cvtColor(four, picture.grey, cv::COLOR_RGBA2GRAY);
  cv::extractChannel(four, picture.seen, 3);
  return picture;
}

constexpr int kOverviewSide = 2000;

double overview_factor(GDALDataset& mosaic) {
  return std::min(
      1.0, static_cast<double>(kOverviewSide) / std::max(mosaic.GetRasterXSize(), mosaic.GetRasterYSize()));
}

cv::Matx33d scaling(double factor) {
  return {factor, 0, 0.5 * factor - 0.5, 0, factor, 0.5 * factor - 0.5, 0, 0, 1};
}

cv::Matx33d completed(const cv::Mat& two_rows) {
  cv::Matx33d full = cv::Matx33d::eye();
  for (int i = 0; i < 6; ++i) full(i / 3, i % 3) = two_rows.at<double>(i / 3, i % 3);
  return full;
}

/// From matched features of overviews: Lowe, IJCV 60:91-110 (2004), ratio test; turn, scale and shift by
/// random sampling.
std::optional<cv::Matx33d> from_features(GDALDataset& first, GDALDataset& second) {
  const auto sift = cv::SIFT::create(6000);
  struct Features {
    std::vector<cv::KeyPoint> points;
    cv::Mat descriptors;
    double factor;
  };
  const auto features_of = [&](GDALDataset& mosaic) {
    Features features{{}, {}, overview_factor(mosaic)};
    const cv::Rect whole(0, 0, mosaic.GetRasterXSize(), mosaic.GetRasterYSize());
    const cv::Size size(std::max(1, static_cast<int>(whole.width * features.factor)),
                        std::max(1, static_cast<int>(whole.height * features.factor)));
    const Picture picture = read_part(mosaic, whole, size);
    cv::Mat inside;
    cv::erode(picture.seen == 255, inside, cv::Mat::ones(15, 15, CV_8U));
    sift->detectAndCompute(picture.grey, inside, features.points, features.descriptors);
    return features;
  };
  const Features a = features_of(first), b = features_of(second);
  if (a.points.size() < 8 || b.points.size() < 8) return std::nullopt;
  std::vector<std::vector<cv::DMatch>> matches;
  cv::BFMatcher(cv::NORM_L2).knnMatch(b.descriptors, a.descriptors, matches, 2);
  std::vector<cv::Point2f> from, to;
  for (const auto& match : matches)
    if (match.size() == 2 && match[0].distance < 0.75F * match[1].distance) {
      from.push_back(b.points[match[0].queryIdx].pt);
      to.push_back(a.points[match[0].trainIdx].pt);
    }
  if (from.size() < 12) return std::nullopt;
  cv::Mat kept;
  cv::setRNGSeed(1);
  const cv::Mat found = cv::estimateAffinePartial2D(from, to, kept, cv::RANSAC, 3.0, 5000, 0.999);
  const int agreeing = cv::countNonZero(kept);
  // Brown & Lowe, IJCV 74:59-73 (2007), accept a pair with more than 8 + 0.3 of its matches in agreement;
  // dates differ in more than views do, so a smaller share must do, and the patches decide.
  if (found.empty() || agreeing < std::max(12, static_cast<int>(0.08 * static_cast<double>(from.size()))))
    return std::nullopt;
  return scaling(a.factor).inv() * completed(found) * scaling(b.factor);
}

cv::Matx33d centre_transform(GDALDataset& mosaic) {
  double g[6];
  if (mosaic.GetGeoTransform(g) != CE_None) return cv::Matx33d::eye();
  return {g[1], g[2], g[0] + 0.5 * (g[1] + g[2]), g[4], g[5], g[3] + 0.5 * (g[4] + g[5]), 0, 0, 1};
}

std::optional<cv::Matx33d> from_coordinates(GDALDataset& first, GDALDataset& second) {
  const OGRSpatialReference *a = first.GetSpatialRef(), *b = second.GetSpatialRef();
  if (a == nullptr || b == nullptr || !a->IsSame(b)) return std::nullopt;
  return centre_transform(first).inv() * centre_transform(second);
}

/// The second mosaic's patch where the first one's `area` is, by the present transform.
Picture second_on_first(GDALDataset& second, const cv::Matx33d& second_from_first, const cv::Rect& area) {
  std::vector<cv::Point2d> corners;
  for (const cv::Point corner :
       {area.tl(), cv::Point(area.br().x, area.y), area.br(), cv::Point(area.x, area.br().y)}) {
    const cv::Vec3d p = second_from_first * cv::Vec3d(corner.x, corner.y, 1);
    corners.emplace_back(p[0], p[1]);
  }
  double left = 1e30, top = 1e30, right = -1e30, bottom = -1e30;
  for (const cv::Point2d& p : corners)
    left = std::min(left, p.x), right = std::max(right, p.x), top = std::min(top, p.y),
    bottom = std::max(bottom, p.y);
  const cv::Rect needed(
      cv::Point(static_cast<int>(std::floor(left)) - 4, static_cast<int>(std::floor(top)) - 4),
      cv::Point(static_cast<int>(std::ceil(right)) + 5, static_cast<int>(std::ceil(bottom)) + 5));
  const Picture source = read_part(second, needed, needed.size());
  const cv::Matx33d to_source = cv::Matx33d(1, 0, -needed.x, 0, 1, -needed.y, 0, 0, 1) * second_from_first *
                                cv::Matx33d(1, 0, area.x, 0, 1, area.y, 0, 0, 1);
  Picture placed;
  cv::warpAffine(source.grey, placed.grey, to_source.get_minor<2, 3>(0, 0), area.size(),
                 cv::INTER_CUBIC | cv::WARP_INVERSE_MAP);
  cv::warpAffine(source.seen, placed.seen, to_source.get_minor<2, 3>(0, 0), area.size(),
                 cv::INTER_NEAREST | cv::WARP_INVERSE_MAP);
  return placed;
}

constexpr int kPatchSide = 256, kPatchesAcross = 12;
constexpr double kClearPeak = 0.12;  // of phase correlation: below, the patch does not tell

struct Tie {
  cv::Point2d first, second;  ///< the same spot in pixels of both
};

std::vector<Tie> ties_by_patches(GDALDataset& first, GDALDataset& second,
                                 const cv::Matx33d& first_from_second, int& tried) {
  std::vector<Tie> ties;
  tried = 0;
  cv::Mat window;
  cv::createHanningWindow(window, {kPatchSide, kPatchSide}, CV_32F);
  const cv::Matx33d second_from_first = first_from_second.inv();
  const int step_x = std::max(kPatchSide, first.GetRasterXSize() / kPatchesAcross),
            step_y = std::max(kPatchSide, first.GetRasterYSize() / kPatchesAcross);
  for (int y = 0; y + kPatchSide <= first.GetRasterYSize(); y += step_y)
    for (int x = 0; x + kPatchSide <= first.GetRasterXSize(); x += step_x) {
      const cv::Rect area(x, y, kPatchSide, kPatchSide);
      const Picture one = read_part(first, area, area.size());
      if (cv::countNonZero(one.seen) < 0.98 * area.area()) continue;
      const Picture other = second_on_first(second, second_from_first, area);
      if (cv::countNonZero(other.seen) < 0.98 * area.area()) continue;
      ++tried;
      cv::Mat a, b;
      one.grey.convertTo(a, CV_32F);
      other.grey.convertTo(b, CV_32F);
      double peak = 0;
      const cv::Point2d shift = cv::phaseCorrelate(a, b, window, &peak);
      if (peak < kClearPeak || cv::norm(shift) > kPatchSide / 4.0) continue;
      // What the first shows at its middle the second, as placed, shows `shift` further on.
      const cv::Point2d middle(x + 0.5 * (kPatchSide - 1), y + 0.5 * (kPatchSide - 1));
      const cv::Vec3d there = second_from_first * cv::Vec3d(middle.x + shift.x, middle.y + shift.y, 1);
      ties.push_back({middle, {there[0], there[1]}});
    }
  return ties;
}

/// A new transform from ties, and how many agree with it; nothing when they are too few for one.
std::optional<cv::Matx33d> fitted(const std::vector<Tie>& ties, int& agreeing, double& rmse_px) {
  if (ties.size() < 6) return std::nullopt;
  std::vector<cv::Point2d> from, to;
  for (const Tie& tie : ties) from.push_back(tie.second), to.push_back(tie.first);
  cv::Mat kept;
  cv::setRNGSeed(1);
  const cv::Mat found = cv::estimateAffine2D(from, to, kept, cv::RANSAC, 2.0, 3000, 0.999);
  agreeing = cv::countNonZero(kept);
  if (found.empty() || agreeing < 6 || agreeing < static_cast<int>(ties.size()) / 3) return std::nullopt;
  const cv::Matx33d transform = completed(found);
  double squares = 0;
  for (std::size_t i = 0; i < ties.size(); ++i) {
    if (!kept.at<uchar>(static_cast<int>(i))) continue;
    const cv::Vec3d p = transform * cv::Vec3d(from[i].x, from[i].y, 1);
    squares += std::pow(p[0] - to[i].x, 2) + std::pow(p[1] - to[i].y, 2);
  }
  rmse_px = std::sqrt(squares / agreeing);
  return transform;
}

}  // namespace

Alignment align(const std::filesystem::path& first_out, const std::filesystem::path& second_out) {
  const GDALDatasetUniquePtr first = open_mosaic(first_out), second = open_mosaic(second_out);
  Alignment alignment;
  std::optional<cv::Matx33d> transform = from_features(*first, *second);
  alignment.from = "matched features";
  if (!transform) {
    transform = from_coordinates(*first, *second);
    alignment.from = "coordinates";
  }
  if (!transform)
    throw InputError(
        fmt::format("{} and {}: nothing ties these mosaics together; they have no common coordinates, and "
                    "too little that looks alike",
                    first_out.string(), second_out.string()));
  for (int round = 0; round < 2; ++round) {
    const std::vector<Tie> ties = ties_by_patches(*first, *second, *transform, alignment.patches_tried);
    int agreeing = 0;
    double rmse_px = 0;
    const auto better = fitted(ties, agreeing, rmse_px);
    if (!better) break;
    transform = better;
    alignment.patches = agreeing;
    alignment.rmse_px = rmse_px;
  }
  for (int i = 0; i < 6; ++i) alignment.first_from_second[i] = (*transform)(i / 3, i % 3);
  const auto& m = alignment.first_from_second;
  alignment.scaled_by = std::sqrt(std::abs(m[0] * m[4] - m[1] * m[3]));
  alignment.turned_deg = -std::atan2(m[3] - m[1], m[0] + m[4]) / kDegree;
  return alignment;
}

namespace {

// `moved` resampled onto the grid of `first`, computed as it is read.
GDALDatasetUniquePtr warped_onto(GDALDataset& first, const double (&grid)[6], GDALDataset& moved,
                                 int threads) {
  const double width = first.GetRasterXSize(), height = first.GetRasterYSize();
  const double x0 = grid[0], x1 = grid[0] + grid[1] * width, y0 = grid[3] + grid[5] * height, y1 = grid[3];
  CPLStringList words;
  for (const std::string& word :
       {std::string("-of"), std::string("VRT"), std::string("-r"), std::string("lanczos"), std::string("-ts"),
        std::to_string(first.GetRasterXSize()), std::to_string(first.GetRasterYSize()), std::string("-te"),
        fmt::format("{:.12f}", x0), fmt::format("{:.12f}", std::min(y0, y1)), fmt::format("{:.12f}", x1),
        fmt::format("{:.12f}", std::max(y0, y1)), std::string("-wo"),
        fmt::format("NUM_THREADS={}", std::max(1, threads)), std::string("-et"), std::string("0.01")})
    words.AddString(word.c_str());
  GDALWarpAppOptions* options = GDALWarpAppOptionsNew(words.List(), nullptr);
  GDALDatasetH sources[] = {GDALDataset::ToHandle(&moved)};
  int misuse = 0;
  GDALDatasetUniquePtr warped(GDALDataset::FromHandle(GDALWarp("", nullptr, 1, sources, options, &misuse)));
  GDALWarpAppOptionsFree(options);
  return warped;
}

}  // namespace

void write_aligned(const std::filesystem::path& first_out, const std::filesystem::path& second_out,
                   const Alignment& alignment, const std::filesystem::path& file, int threads) {
  const GDALDatasetUniquePtr first = open_mosaic(first_out), second = open_mosaic(second_out);
  // A mosaic without a place in the world gets a grid for the time being, north up as the warper makes them.
  double grid[6];
  const bool has_place = first->GetGeoTransform(grid) == CE_None;
  if (!has_place) grid[5] = -1;  // GDAL's own for such a mosaic runs downward
  // A picture of the second that claims to lie where the alignment puts it; GDAL then warps it within its
  // memory. Corners, not centres.
  const auto& m = alignment.first_from_second;
  const double shift_x = m[2] + 0.5 - 0.5 * (m[0] + m[1]), shift_y = m[5] + 0.5 - 0.5 * (m[3] + m[4]);
  double lies[6] = {grid[0] + grid[1] * shift_x + grid[2] * shift_y,
                    grid[1] * m[0] + grid[2] * m[3],
                    grid[1] * m[1] + grid[2] * m[4],
                    grid[3] + grid[4] * shift_x + grid[5] * shift_y,
                    grid[4] * m[0] + grid[5] * m[3],
                    grid[4] * m[1] + grid[5] * m[4]};
  GDALDriver* virtual_driver = GetGDALDriverManager()->GetDriverByName("VRT");
  const GDALDatasetUniquePtr moved(
      virtual_driver->CreateCopy("", second.get(), false, nullptr, nullptr, nullptr));
  moved->SetGeoTransform(lies);
  moved->SetSpatialRef(first->GetSpatialRef());
  write_file(file, [&](const std::filesystem::path& temporary) {
    const GDALDatasetUniquePtr warped = warped_onto(*first, grid, *moved, threads);
    if (!warped) return false;
    double none[6] = {0, 1, 0, 0, 0, 1};
    if (!has_place) warped->SetGeoTransform(none);
    const CPLConfigOptionSetter no_side_file("GDAL_PAM_ENABLED", "NO", false);
    CPLStringList choices;
    choices.SetNameValue("COMPRESS", "DEFLATE");
    choices.SetNameValue("PREDICTOR", "YES");
    choices.SetNameValue("NUM_THREADS", std::to_string(std::max(1, threads)).c_str());
    const GDALDatasetUniquePtr made(GetGDALDriverManager()->GetDriverByName("COG")->CreateCopy(
        temporary.c_str(), warped.get(), false, choices.List(), nullptr, nullptr));
    return made != nullptr;
  });
}

std::string text_of(const Alignment& a) {
  std::string text =
      fmt::format("Aligned by {}: turned {:.3f} deg, scaled by {:.5f}, shifted {:.2f}, {:.2f} px.\n", a.from,
                  std::abs(a.turned_deg) < 5e-4 ? 0.0 : a.turned_deg, a.scaled_by, a.first_from_second[2],
                  a.first_from_second[5]);
  text += a.patches > 0
              ? fmt::format("{} of {} patches agree within {:.2f} px (root mean square).\n", a.patches,
                            a.patches_tried, a.rmse_px)
              : std::string(
                    "No patches agree: how well the two fit is not known; look at them before comparing.\n");
  return text;
}

std::string json_of(const Alignment& a) {
  return nlohmann::json{{"from", a.from},
                        {"first_from_second", a.first_from_second},
                        {"turned_deg", a.turned_deg},
                        {"scaled_by", a.scaled_by},
                        {"patches", a.patches},
                        {"patches_tried", a.patches_tried},
                        {"rmse_px", a.patches > 0 ? nlohmann::json(a.rmse_px) : nlohmann::json(nullptr)}}
             .dump(1) +
         "\n";
}

}  // namespace lookdown::measure
