#include "stages/report/before_after/before_after.h"

#include <fmt/format.h>
#include <gdal_priv.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "pipeline/base/files/atomic_file.h"
#include "stages/report/page_content.h"
#include "stages/report/page_template.h"
#include "stages/report/pictures/frame_pictures.h"
#include "stages/report/tiles/tile_pyramid.h"

namespace lookdown::report {
namespace {

using nlohmann::json;

constexpr int kLongSide_px = 2400;
constexpr int kBands = 4;
constexpr std::int64_t kPictureBytes = 4'000'000;
/// Seams and the last half pixel of the alignment are not changes of the ground.
constexpr int kSmoothing_px = 5;

cv::Mat read_reduced(const std::filesystem::path& file, cv::Size& whole) {
  GDALAllRegister();
  const GDALDatasetUniquePtr raster(GDALDataset::Open(file.c_str(), GDAL_OF_RASTER));
  if (!raster || raster->GetRasterCount() < kBands)
    throw std::runtime_error(file.string() + ": cannot be read as a mosaic");
  whole = {raster->GetRasterXSize(), raster->GetRasterYSize()};
  const double factor =
      std::min(1.0, static_cast<double>(kLongSide_px) / std::max(whole.width, whole.height));
  cv::Mat rgba(std::max(1, cvRound(whole.height * factor)), std::max(1, cvRound(whole.width * factor)),
               CV_8UC4);
  GDALRasterIOExtraArg how;
  INIT_RASTERIO_EXTRA_ARG(how);
  how.eResampleAlg = GRIORA_Average;
  if (raster->RasterIO(GF_Read, 0, 0, whole.width, whole.height, rgba.data, rgba.cols, rgba.rows, GDT_Byte,
                       kBands, nullptr, kBands, static_cast<GSpacing>(rgba.step[0]), 1, &how) != CE_None)
    throw std::runtime_error(file.string() + ": ends before its last row");
  return rgba;
}

cv::Mat seen_in(const cv::Mat& rgba) {
  cv::Mat alpha;
  cv::extractChannel(rgba, alpha, kBands - 1);
  return alpha == 255;
}

/// Smoothed lightness whose mean and spread over `both` are those of a grey picture in the middle.
cv::Mat evened_lightness(const cv::Mat& rgba, const cv::Mat& both) {
  constexpr double kMiddle = 128, kSpread = 40;
  cv::Mat grey, lightness;
  cv::cvtColor(rgba, grey, cv::COLOR_RGBA2GRAY);
  grey.convertTo(lightness, CV_32F);
  cv::GaussianBlur(lightness, lightness, {kSmoothing_px, kSmoothing_px}, 0);
  cv::Scalar mean, spread;
  cv::meanStdDev(lightness, mean, spread, both);
  return (lightness - mean[0]) * (kSpread / std::max(1.0, spread[0])) + kMiddle;
}

/// Later lighter in one hue, later darker in another, over a pale picture of the earlier day.
cv::Mat drawn_difference(const cv::Mat& difference, const cv::Mat& before, const cv::Mat& both) {
  cv::Mat grey, drawn = over_surround(before);
  cv::cvtColor(drawn, grey, cv::COLOR_BGR2GRAY);
  constexpr double kPale = 0.35, kPaper = 150;
  const cv::Vec3d lighter(90, 200, 255), darker(170, 60, 60);  // blue, green, red
  for (int row = 0; row < drawn.rows; ++row) {
    for (int column = 0; column < drawn.cols; ++column) {
      if (both.at<std::uint8_t>(row, column) == 0) continue;
      const double paper = kPaper + kPale * (grey.at<std::uint8_t>(row, column) - 128);
      const double step = difference.at<float>(row, column);
      const double strength = std::clamp((std::abs(step) - kChange / 2) / (1.5 * kChange), 0.0, 1.0);
      const cv::Vec3d& hue = step > 0 ? lighter : darker;
      for (int band = 0; band < 3; ++band)
        drawn.at<cv::Vec3b>(row, column)[band] =
            cv::saturate_cast<std::uint8_t>(paper + strength * (hue[band] - paper));
    }
  }
  return drawn;
}

}  // namespace

Change write_before_after(const BeforeAfter& pair, const std::filesystem::path& file) {
  cv::Size before_size, after_size;
  const cv::Mat before = read_reduced(pair.before_file, before_size),
                after = read_reduced(pair.after_file, after_size);
  if (before_size != after_size)
    throw std::runtime_error(pair.after_file.string() + ": is not on the grid of " +
                             pair.before_file.string());
  const cv::Mat both = seen_in(before) & seen_in(after);
  const cv::Mat difference = evened_lightness(after, both) - evened_lightness(before, both);
  Change change;
  const int compared = cv::countNonZero(both);
  change.compared_share = static_cast<double>(compared) / std::max(1, cv::countNonZero(seen_in(before)));
  change.changed_share =
      static_cast<double>(cv::countNonZero((cv::abs(difference) > kChange) & both)) / std::max(1, compared);

  json figures = json::array();
  for (const auto& [name, text] : pair.figures) figures.push_back({name, text});
  figures.push_back(
      {"Compared", fmt::format("{:.0f} % of what the first mosaic shows", 100 * change.compared_share)});
  figures.push_back(
      {"Differs in lightness",
       fmt::format(
           "{:.1f} % of what was compared, by more than {:.0f} of 255 steps once overall light is evened out",
           100 * change.changed_share, kChange)});
  const json content = {{"before", pair.before_name},
                        {"after", pair.after_name},
                        {"width_px", before_size.width},
                        {"height_px", before_size.height},
                        {"figures", figures}};
  const json pictures = {
      {"before", base64(jpeg_within(over_surround(before), kPictureBytes))},
      {"after", base64(jpeg_within(over_surround(after), kPictureBytes))},
      {"difference", base64(jpeg_within(drawn_difference(difference, before, both), kPictureBytes))}};
  write_file(file, filled_page(embedded::before_after_html, embedded::before_after_js,
                               {{"CONTENT", json_for_page(content)}, {"PICTURES", json_for_page(pictures)}}));
  return change;
}

}  // namespace lookdown::report
